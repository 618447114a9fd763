//! What happens while the car is on its bus, as it is told.

use twotrip_host::run::Notice;
use twotrip_scenario::Phrase;
use twotrip_sim::{Event, Outcome};

use super::{judged::Expectations, lines::Line};
use crate::{command::words, exit::Failure, output};

/// Columns before the lines that belong to a phrase: below the phrase itself.
pub(super) const DETAIL_INDENT: usize = 16;

/// Prints what happened while the car was on the bus.
pub(super) fn tell(json: bool, notice: &Notice<'_>, judged: &mut Expectations) -> Result<(), Failure> {
    match notice {
        Notice::BusDown if json => output::json(&Line::BusDown),
        Notice::BusDown => {
            anstream::eprintln!("the interface is down; the car is back on the bus when it is up again");
            Ok(())
        }
        Notice::MemoryNotKept(error) if json => output::json(&Line::MemoryNotKept {
            error: error.to_string(),
        }),
        Notice::MemoryNotKept(error) => {
            anstream::eprintln!("{error}\nthe car is silent until its memory can be kept again");
            Ok(())
        }
        Notice::MemoryKept if json => output::json(&Line::MemoryKept),
        Notice::MemoryKept => {
            anstream::eprintln!("the memory is kept again, the car answers");
            Ok(())
        }
        Notice::BusError { error, more } if json => {
            output::json(&Line::BusError(words::BusErrorObject::of(*error, *more)))
        }
        Notice::BusError { error, more } => {
            anstream::eprintln!("{}", words::bus_error(*error, *more));
            Ok(())
        }
        Notice::TurnedAway { why, more } if json => output::json(&Line::TurnedAway {
            text: why.to_string(),
            more: *more,
        }),
        Notice::TurnedAway { why, more } => {
            anstream::eprintln!("{}", words::turned_away(*why, *more));
            Ok(())
        }
        Notice::Event(Event::Finished {
            at, outcome, phrase, ..
        }) => {
            if matches!(phrase, Phrase::Expect(_)) {
                judged.on(phrase, outcome);
            }
            say(json, at.as_secs_f64(), &phrase.to_string(), outcome)
        }
        Notice::Event(Event::Disturbance {
            at,
            number,
            disturbance,
            begins,
            acted,
        }) => {
            if json {
                return output::json(&Line::Disturbance {
                    car_time_s: at.as_secs_f64(),
                    number: *number,
                    disturbance: disturbance.to_string(),
                    begins: *begins,
                    acted: *acted,
                });
            }
            let clock = words::car_clock(at.as_secs_f64());
            let times = words::counted(*acted, "time", "times");
            output::line(&if *begins {
                format!("{clock}  disturbance {number} begins: {disturbance}")
            } else {
                format!("{clock}  disturbance {number} ends: {disturbance}, it acted {times}")
            })
        }
        Notice::Event(Event::Memory { at, ecu, effect }) => {
            let Some((text, _)) = words::effect(*effect) else {
                return Ok(());
            };
            if json {
                return output::json(&Line::Memory {
                    car_time_s: at.as_secs_f64(),
                    text,
                    ecu: ecu.map(|ecu| ecu.acronym().to_owned()),
                    response: ecu.map(|ecu| ecu.response.to_string()),
                });
            }
            let text = words::of_ecu(*ecu, text);
            output::line(&format!("{}  {text}", words::car_clock(at.as_secs_f64())))
        }
        Notice::Event(_) => Ok(()),
    }
}

pub(super) fn say(json: bool, car_time_s: f64, phrase: &str, outcome: &Outcome) -> Result<(), Failure> {
    if json {
        let Outcome {
            ok,
            text,
            details,
            why,
            monitors,
        } = outcome;
        return output::json(&Line::Phrase {
            car_time_s,
            phrase,
            ok: *ok,
            outcome: text,
            details,
            why: why.as_deref(),
            monitors: monitors.as_deref(),
        });
    }
    let head = format!("{}  > {phrase}", words::car_clock(car_time_s));
    let whole = format!("{head}   {}", outcome.text);
    if whole.chars().count() <= output::WIDTH {
        output::line(&whole)?;
    } else {
        output::line(&head)?;
        for line in output::fit(&outcome.text, DETAIL_INDENT) {
            output::line(&line)?;
        }
    }
    for line in outcome
        .details
        .iter()
        .flat_map(|detail| output::fit(detail, DETAIL_INDENT))
    {
        output::line(&line)?;
    }
    Ok(())
}
