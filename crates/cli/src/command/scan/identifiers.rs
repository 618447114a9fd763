//! Which identifiers a car has: where nobody answers on 11 bits, 29 are tried, and who answers there is asked from then on.
//! The order is that of ISO 15765-4's initialisation (public excerpts of its 2005 edition, 4.2.1).

use std::collections::BTreeSet;

use twotrip_host::session::Session;
use twotrip_tester::{Target, TesterConfig};

use crate::{command::words, exit::Failure};

/// What any ECU of legislated diagnostics answers: the parameters that it supports, of SAE J1979 and of SAE J1979-2.
const PROBES: [&[u8]; 2] = [&[0x01, 0x00], &[0x22, 0xF8, 0x10]];

/// Asks on 29 bits; whether somebody answers. The session then knows who, up to eight of them; else it is as it was. Who answers
/// neither the probe nor its repetition is not heard any more, so that one lost or late answer hides nobody.
pub(super) async fn find_on_29_bits(session: &mut Session, tester: TesterConfig) -> Result<bool, Failure> {
    let mut addresses = BTreeSet::new();
    for probe in PROBES {
        addresses.extend(who_answers(session, tester, probe).await?);
        if !addresses.is_empty() {
            addresses.extend(who_answers(session, tester, probe).await?);
            break;
        }
    }
    let addresses: Vec<u8> = addresses.into_iter().collect();
    let found = !addresses.is_empty();
    let config = if found {
        tester.extended(&addresses)
    } else {
        tester
    };
    session.change(config).map_err(words::system)?;
    Ok(found)
}

/// The addresses of those who answer a probe. As if nobody were known: then all are waited for, and not those alone that are.
async fn who_answers(session: &mut Session, tester: TesterConfig, probe: &[u8]) -> Result<Vec<u8>, Failure> {
    session.change(tester.extended(&[])).map_err(words::system)?;
    let exchange = session.exchange(Target::Functional, probe).await;
    let exchange = exchange.map_err(words::system)?;
    let known = exchange.answers.iter();
    let known = known.map(|told| session.config().address(told.ecu).response);
    let mut responses: Vec<_> = known.collect();
    responses.extend(session.take_strays().iter().map(|frame| frame.id()));
    Ok(responses.iter().map(|id| id.raw().to_le_bytes()[0]).collect())
}
