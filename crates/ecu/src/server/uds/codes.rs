//! Service $19: codes with their status, freeze frames, extended data (sub-functions by a public help page on SAE J1979-2,
//! layouts of ISO 14229-1).
//!
//! A code that the ECU does not have, a functional group but that of emissions, a readiness group or a record that there
//! is not: out of range, $31. Which extended data record carries what is **uncertain** (from memory), $92 as much as the
//! range for makers; the counts of a code's life in record $01 are our own choice.

use twotrip_obd::{
    BufferFull, ResponseBuffer, ResponseCode,
    uds::{
        ALL_RECORDS, EMISSIONS, FIRST_FRAME, FullDtc, IN_USE_RECORD, LATEST_FRAME, OBD_RECORDS, Request,
        Severity, Status, answer as write, readiness_group,
    },
};

use super::{
    data,
    failure::{failure_type, severity},
};
use crate::{
    memory::{CodeDetail, FaultMemory},
    server::{Answer, Context},
};

/// Every status bit is kept.
const AVAILABLE: Status = Status::ALL;
/// Of the severities these are used, and no class.
const SEVERITIES: Severity = Severity::MAINTENANCE
    .and(Severity::NEXT_HALT)
    .and(Severity::AT_ONCE)
    .and(Severity::NO_CLASS);
/// Extended data of the maker's own: driving cycles that failed and that passed, warm-ups since the lamp went out.
const LIFE_RECORD: u8 = 0x01;

pub(super) fn answer(
    context: &Context<'_>,
    request: Request<'_>,
    response: &mut ResponseBuffer,
) -> Result<Answer, BufferFull> {
    let memory = context.memory;
    let written = match request {
        Request::CodesByMask {
            group: EMISSIONS,
            status,
            severity: severities,
            ..
        } => {
            write::begin_codes_by_mask(response, EMISSIONS, (AVAILABLE, SEVERITIES))?;
            for code in memory.details() {
                let severity = severity(&code);
                if code.status.has(status) && severity.has(severities) {
                    write::push_graded(response, severity, full(&code), code.status)?;
                }
            }
            true
        }
        Request::PermanentCodes { group: EMISSIONS, .. } if memory.profile().permanent_codes => {
            write::begin_permanent_codes(response, EMISSIONS, AVAILABLE)?;
            for code in memory.permanent().filter_map(|code| memory.detail(code)) {
                write::push_code(response, full(&code), code.status)?;
            }
            true
        }
        // A regulation without permanent codes has no such sub-function.
        Request::PermanentCodes { group: EMISSIONS, .. } => {
            return Ok(Answer::Negative(ResponseCode::SubFunctionNotSupported));
        }
        Request::CodesByReadiness {
            group: EMISSIONS,
            readiness,
            ..
        } => write_readiness(memory, readiness, response)?,
        Request::CodesWithRecord { record, .. } => {
            write::begin_codes_with_record(response, AVAILABLE, record)?;
            for code in memory.details().filter(|code| has_record(code, record)) {
                write::push_code(response, full(&code), code.status)?;
            }
            matches!(record, LIFE_RECORD | IN_USE_RECORD)
        }
        Request::FreezeFrame { code, record, .. } => write_frames(context, code, record, response)?,
        Request::ExtendedData { code, record, .. } => write_records(memory, code, record, response)?,
        _ => false,
    };
    Ok(if written {
        Answer::Positive
    } else {
        Answer::Negative(ResponseCode::RequestOutOfRange)
    })
}

/// A code with its failure type.
fn full(code: &CodeDetail) -> FullDtc {
    FullDtc {
        code: code.code,
        failure: failure_type(code.definition),
    }
}

/// The code that a tester names, if it is one of this ECU's, failure type included.
fn find(memory: &FaultMemory, asked: FullDtc) -> Option<CodeDetail> {
    memory.detail(asked.code).filter(|code| full(code) == asked)
}

fn write_readiness(
    memory: &FaultMemory,
    readiness: u8,
    response: &mut ResponseBuffer,
) -> Result<bool, BufferFull> {
    let Some(group) = readiness_group(readiness) else {
        return Ok(false);
    };
    write::begin_codes_by_readiness(response, EMISSIONS, AVAILABLE, readiness)?;
    for code in memory.details().filter(|code| code.group == Some(group)) {
        write::push_code(response, full(&code), code.status)?;
    }
    Ok(true)
}

/// $04. Of a code without frames only the code and its status are told.
fn write_frames(
    context: &Context<'_>,
    asked: FullDtc,
    record: u8,
    response: &mut ResponseBuffer,
) -> Result<bool, BufferFull> {
    let Some(code) = find(context.memory, asked) else {
        return Ok(false);
    };
    if !matches!(record, FIRST_FRAME | LATEST_FRAME | ALL_RECORDS) {
        return Ok(false);
    }
    write::begin_records(response, 0x04, asked, code.status)?;
    if let Some(pair) = context.memory.frames(code.code) {
        for (number, frame) in [(FIRST_FRAME, &pair.first), (LATEST_FRAME, &pair.latest)] {
            if record == number || record == ALL_RECORDS {
                response.extend(&[number])?;
                data::write_frame(context, frame, response)?;
            }
        }
    }
    Ok(true)
}

/// Whether a code has an extended data record.
const fn has_record(code: &CodeDetail, record: u8) -> bool {
    match record {
        LIFE_RECORD => true,
        IN_USE_RECORD => code.in_use.is_some(),
        _ => false,
    }
}

/// $06.
fn write_records(
    memory: &FaultMemory,
    asked: FullDtc,
    record: u8,
    response: &mut ResponseBuffer,
) -> Result<bool, BufferFull> {
    let Some(code) = find(memory, asked) else {
        return Ok(false);
    };
    let wanted = |number: u8| match record {
        ALL_RECORDS => true,
        OBD_RECORDS => number == IN_USE_RECORD,
        one => number == one,
    };
    if !wanted(LIFE_RECORD) && !wanted(IN_USE_RECORD) {
        return Ok(false);
    }
    write::begin_records(response, 0x06, asked, code.status)?;
    if wanted(LIFE_RECORD)
        && let Some(status) = memory.status(code.code)
    {
        let life = [status.failed_cycles, status.passed_cycles, status.warm_ups];
        response.extend(&[LIFE_RECORD])?;
        response.extend(&life)?;
    }
    if let Some((completions, conditions)) = code.in_use.filter(|_| wanted(IN_USE_RECORD)) {
        response.extend(&[IN_USE_RECORD])?;
        response.extend(&completions.to_be_bytes())?;
        response.extend(&conditions.to_be_bytes())?;
    }
    Ok(true)
}
