//! Which recorded bus goes to which bus, and how those are opened.

use twotrip_can::CanId;
use twotrip_host::{
    bench::{self, Bench},
    bus::{Bus, BusError, Name},
};

use super::recorded::{RecordedBus, Survey};
use crate::{args, command::words, exit::Failure, output};

/// Where each recorded bus goes.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Lanes {
    /// The buses to be opened, each once.
    pub(super) names: Vec<Name>,
    /// Of each recorded bus the place of its bus in `names`; `None`: it is left out.
    pub(super) of: Vec<Option<usize>>,
}

impl Lanes {
    /// By the command line: `--bus-of` by name, then `--bus` in the order of the recording. Recorded buses without
    /// a frame that is wanted do not count.
    pub(super) fn assign(survey: &Survey, buses: &[String], bus_of: &[args::BusOf]) -> Result<Self, Failure> {
        if survey.buses.iter().all(|bus| bus.frames == 0) {
            return Err(nothing(survey));
        }
        let mut lanes = Self {
            names: Vec::new(),
            of: vec![None; survey.buses.len()],
        };
        for pair in bus_of {
            let place = survey.buses.iter().position(|bus| bus.name == pair.recorded);
            let Some(place) = place else {
                let there = named(survey.buses.iter());
                return Err(Failure::input(
                    format!(
                        "--bus-of: the recording has no bus `{}`",
                        output::escape(&pair.recorded)
                    ),
                    Some(format!("it has {there}")),
                ));
            };
            if lanes.of[place].is_some() {
                return Err(Failure::input(
                    format!("--bus-of: `{}` goes to two buses", output::escape(&pair.recorded)),
                    Some("replay it twice, or let the buses be bridged".to_owned()),
                ));
            }
            lanes.of[place] = Some(lanes.place(&pair.bus, "--bus-of")?);
        }
        let rest: Vec<usize> = (0..survey.buses.len())
            .filter(|&place| lanes.of[place].is_none() && survey.buses[place].frames > 0)
            .collect();
        if buses.is_empty() && bus_of.is_empty() {
            let hint = "`--bus vcan0`, or `--bus local:NAME` where the kernel has no CAN".to_owned();
            return Err(Failure::input("where to? --bus is missing", Some(hint)));
        }
        if !buses.is_empty() && buses.len() != rest.len() {
            let there = named(rest.iter().map(|&place| &survey.buses[place]));
            let times = match buses.len() {
                1 => "once".to_owned(),
                times => format!("{times} times"),
            };
            return Err(Failure::input(
                format!("--bus is given {times}, and to be sent is {there}"),
                Some(
                    "one --bus for each of them; or `--bus-of RECORDED=BUS`, and what is not named is left out"
                        .to_owned(),
                ),
            ));
        }
        for (place, bus) in rest.into_iter().zip(buses) {
            lanes.of[place] = Some(lanes.place(bus, "--bus")?);
        }
        Ok(lanes)
    }

    fn place(&mut self, bus: &str, option: &str) -> Result<usize, Failure> {
        let name: Name = bus
            .parse()
            .map_err(|error| Failure::input(format!("{option}: {error}"), None))?;
        let known = self.names.iter().position(|known| *known == name);
        Ok(known.unwrap_or_else(|| {
            self.names.push(name);
            self.names.len() - 1
        }))
    }
}

/// A recording without a frame that could be sent.
pub(super) fn nothing(survey: &Survey) -> Failure {
    let mut hint = String::from("`twotrip explain FILE --level frames` shows what it holds");
    if survey.errors > 0 {
        hint += &format!(
            "\nof error frames it has {}: they are reports of a controller, and no node sends them",
            survey.errors
        );
    }
    Failure::input("there is no frame to be sent in this recording", Some(hint))
}

/// Names of recorded buses, for people.
fn named<'a>(buses: impl Iterator<Item = &'a RecordedBus>) -> String {
    let names: Vec<String> = buses
        .map(|bus| format!("`{}` ({} frames)", output::escape(&bus.name), bus.frames))
        .collect();
    if names.is_empty() {
        return "no bus".to_owned();
    }
    names.join(", ")
}

/// Opens a bus for sending: on a bench only where nobody else is; an embedded bus that nobody hosts is made.
pub(super) async fn open(name: &Name, on_a_bench: bool) -> Result<Bus, Failure> {
    if on_a_bench {
        return bench(name).await;
    }
    match Bus::join(name).await {
        Err(BusError::NoCar { .. }) => Bus::host(name),
        other => other,
    }
    .map_err(words::system)
}

/// Opens a bus with a wire where nobody else is.
pub(super) async fn bench(name: &Name) -> Result<Bus, Failure> {
    bench_for(name, &[]).await
}

/// Opens a bus with a wire where nobody is but ECUs that answer by these identifiers.
pub(super) async fn bench_for(name: &Name, expected: &[CanId]) -> Result<Bus, Failure> {
    let mut bus = Bus::on_a_bench(name).map_err(words::system)?;
    anstream::eprintln!(
        "listening on {name} for {} s, then asking once who is there",
        bench::LISTEN.as_secs()
    );
    let Bench { acknowledged } = bench::look_for(&mut bus, expected).await.map_err(words::system)?;
    let others = if expected.is_empty() {
        "testers"
    } else {
        "testers and the recorded ECUs"
    };
    anstream::eprintln!("nobody else is there; nothing more is sent when anything but {others} is heard");
    if acknowledged == Some(false) {
        anstream::eprintln!(
            "no other node acknowledges frames yet: whoever listens is off, or the wiring is wrong"
        );
    }
    Ok(bus)
}
