//! What is missing for a code to be stored, or for a permanent one to go.

use std::{collections::BTreeMap, time::Duration};

use twotrip_ecu::{
    memory::{CodeDefinition, CodeStatus, Logic, MonitorId},
    monitors::frame::State,
    records::What,
    transmission::Transmission,
};
use twotrip_obd::Dtc;

use super::{Watching, measured};
use crate::clock;

/// What is missing: for a code that is not confirmed, to become so; for a permanent one, to go.
pub(super) fn missing(
    watching: Watching<'_>,
    dtc: Dtc,
    status: &CodeStatus,
    definition: Option<&'static CodeDefinition>,
) -> Vec<String> {
    let mut lines = Vec::new();
    similar(watching, status, &mut lines);
    let Some(definition) = definition else {
        lines.push("this ECU has no monitor for it: it was put into the memory by hand".to_owned());
        return lines;
    };
    let memory = watching.memory;
    if status.permanent && !status.confirmed {
        permanent(status, &mut lines);
    }
    if status.confirmed {
        let of_it = |what: &What| matches!(what, What::Failed(code, _) if *code == dtc);
        let records = watching.records;
        let unknown = |what: &What| matches!(what, What::MemoryPutBack);
        if !records
            .entries()
            .any(|entry| of_it(&entry.what) || unknown(&entry.what))
        {
            lines.push("no monitor has found it: it was put into the memory by hand".to_owned());
        }
        return lines;
    }
    if status.pending && definition.logic == Logic::Standard {
        lines.push(format!(
            "trip {} of {}: the monitor has to find the fault in another driving cycle",
            status.failed_cycles,
            memory.profile().driving_cycles_to_confirm
        ));
    }
    let records = watching.records;
    if records.cycle() == 0 {
        lines.push("the engine has not been started yet: no monitor has judged anything".to_owned());
        return lines;
    }
    let when = if memory.is_driving_cycle() {
        "in this driving cycle"
    } else {
        "in the last driving cycle"
    };
    if status.failed_this_cycle {
        lines.push(format!(
            "the monitor has found the fault {when}; another one is needed"
        ));
        return lines;
    }
    if let Some(found) = found_before_the_clear(watching, dtc, when) {
        lines.push(found);
        return lines;
    }
    match records.last_pass(dtc) {
        Some(pass) if pass.cycle == records.cycle() => {
            let at = clock::stamp(pass.at);
            lines.push(format!(
                "the monitor has run {when}, at {at}, and found no fault{}",
                measured(pass.evidence)
            ));
        }
        pass => {
            lines.push(format!("the monitor has not judged it {when}"));
            held_up(watching, definition, when, &mut lines);
            if let Some(pass) = pass {
                lines.push(format!(
                    "it found no fault in driving cycle {}, at {}{}",
                    pass.cycle,
                    clock::stamp(pass.at),
                    measured(pass.evidence)
                ));
            }
        }
    }
    lines
}

/// That the monitor did find the fault in the newest cycle, though the memory, cleared since, no longer says so.
fn found_before_the_clear(watching: Watching<'_>, dtc: Dtc, when: &str) -> Option<String> {
    let records = watching.records;
    let newest = records
        .entries()
        .filter(|entry| entry.cycle == records.cycle())
        .filter_map(|entry| match entry.what {
            What::Failed(code, evidence) if code == dtc => Some((entry.at, evidence)),
            _ => None,
        })
        .last()?;
    let (at, evidence) = newest;
    if records.last_pass(dtc).is_some_and(|pass| pass.at >= at) {
        return None;
    }
    Some(format!(
        "the monitor found the fault {when}, at {}{}; the memory was cleared since, and it has not judged it again",
        clock::stamp(at),
        measured(evidence)
    ))
}

/// Whether one of these monitors sets a code.
fn is_of(watching: Watching<'_>, dtc: Dtc, monitors: &[MonitorId]) -> bool {
    let catalogue = watching.memory.catalogue();
    catalogue
        .code(dtc)
        .is_some_and(|code| monitors.contains(&code.monitor))
}

/// What a pending code of misfire or fuel system waits for.
fn similar(watching: Watching<'_>, status: &CodeStatus, lines: &mut Vec<String>) {
    let Some(point) = status.similar_to.filter(|_| status.pending) else {
        return;
    };
    let rule = &watching.memory.profile().similar;
    lines.push(format!(
        "first found at {:.0} rpm and {:.0} % load, engine {}: within {:.0} rpm and {:.0} points of it the next driving \
         cycle decides",
        point.engine_speed.rpm(),
        point.load.percent(),
        if point.warm { "warm" } else { "cold" },
        rule.engine_speed.rpm(),
        rule.load.percent(),
    ));
    lines.push(format!(
        "{} of {} driving cycles went by without such conditions; then it is dropped",
        status.cycles_without_similar, rule.cycles_to_expire
    ));
}

/// What a permanent code that was cleared waits for.
fn permanent(status: &CodeStatus, lines: &mut Vec<String>) {
    let done = |is: bool| if is { "done" } else { "not yet" };
    lines.push(format!(
        "cleared, but permanent until its monitor has found no fault ({}) and, where that is asked, the prescribed \
         drive was driven ({}); it leaves at the end of a driving cycle",
        done(status.permanent_passed),
        done(status.permanent_driven)
    ));
}

/// What a monitor of the transmission ECU waits for now: it keeps no count of its waits.
fn of_transmission(ecu: &Transmission, monitor: MonitorId, lines: &mut Vec<String>) {
    let Some(stand) = ecu.stands().into_iter().find(|stand| stand.monitor == monitor) else {
        return;
    };
    lines.extend(stand.missing.iter().map(|missing| format!("it waits: {missing}")));
    if stand.state == State::Running {
        lines.push("it is running now".to_owned());
    }
}

/// What kept a monitor from judging.
fn held_up(watching: Watching<'_>, definition: &CodeDefinition, when: &str, lines: &mut Vec<String>) {
    let memory = watching.memory;
    let Some(monitor) = memory.catalogue().monitor(definition.monitor) else {
        return;
    };
    let blocking: Vec<String> = monitor
        .disabled_by
        .iter()
        .filter(|&&code| memory.disables(code, monitor))
        .filter(|code| {
            memory
                .status(**code)
                .is_some_and(|status| status.pending || status.commands_mil)
        })
        .map(ToString::to_string)
        .collect();
    if !blocking.is_empty() {
        lines.push(format!("it is blocked by {}", blocking.join(", ")));
    }
    if let Some(transmission) = watching.transmission {
        of_transmission(transmission, definition.monitor, lines);
        return;
    }
    let Some((rules, gate)) = watching
        .engine
        .and_then(|ecu| ecu.monitors().gate(definition.monitor))
    else {
        return;
    };
    let Some(&first) = rules.monitors.first() else {
        return;
    };
    if rules.continuous && rules.conditions.is_empty() {
        lines.push(
            "it judges while the engine runs, once the circuit has read the same for long enough".to_owned(),
        );
        return;
    }
    let records = watching.records;
    let mut waits = records.waits(first);
    waits.sort_by_key(|wait| core::cmp::Reverse(wait.time));
    for wait in waits {
        // Half a second of this or that is no reason.
        if wait.time >= Duration::from_secs(1) {
            lines.push(format!(
                "it waited {}: {}",
                clock::say(wait.time),
                wait.condition.with(wait.last)
            ));
        }
    }
    let mut aborts: BTreeMap<String, (u32, String)> = BTreeMap::new();
    let mut begun = 0;
    for entry in records.entries().filter(|entry| entry.cycle == records.cycle()) {
        match entry.what {
            What::Began(id) if id == first => begun += 1,
            What::Failed(other, evidence) if !rules.continuous && is_of(watching, other, rules.monitors) => {
                lines.push(format!(
                    "the test ended at {} with {other}{}: what it would have looked at after that is not judged",
                    clock::stamp(entry.at),
                    measured(evidence)
                ));
            }
            What::Aborted(id, missing) if id == first => {
                let seen = aborts.entry(missing.condition.to_string()).or_default();
                *seen = (seen.0 + 1, missing.to_string());
            }
            _ => {}
        }
    }
    for (count, last) in aborts.values() {
        let times = if *count == 1 {
            "once".to_owned()
        } else {
            format!("{count} times, the last time")
        };
        lines.push(format!("it broke off {times}: {last}"));
    }
    if begun == 0 {
        lines.push(format!("it never began to run {when}"));
    }
    if gate.state() == State::Running {
        lines.push(match gate.doing() {
            "" => "it is running now".to_owned(),
            doing => format!("it is running now: {doing}"),
        });
    }
    if !memory.is_driving_cycle() {
        lines.push("the engine stands: it can run in the next driving cycle".to_owned());
    }
}
