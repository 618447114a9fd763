//! `replay --as tester`: the requests of a recording are asked again, and each reply is compared with the recorded one.
//!
//! Only requests are taken from the recording. Flow control, waiting, timeouts are the tester's own (crate `tester`), as its frames
//! are: a request that was sent without filling bytes, or in pieces that were not whole, is not imitated.
//!
//! `script` reads the recording as conversations, `pace` says when the next request is due, `told` shows what came of it.

mod pace;
mod script;
mod told;

use std::{
    collections::BTreeMap,
    pin::pin,
    time::{Duration, Instant},
};

use twotrip_can::{CanId, Frame};
use twotrip_dialogue::{
    Ecu, Reply, Role,
    compare::{Comparison, compare_replies},
};
use twotrip_host::{
    bus::Bus,
    session::{Exchange, Session},
};
use twotrip_isotp::{Frames, Pdu, Profile};
use twotrip_tester::{EcuNumber, Target, TesterConfig};

use self::{
    pace::Before,
    script::{Choice, Overview, Planned, Script},
    told::{Counts, Held, LeftOut},
};
use super::lanes::{self, Lanes};
use crate::{
    args::{self, Pace},
    command::words,
    exit::Failure,
    output,
};

/// A tester on a bus, for identifiers of one size.
struct Seat {
    session: Session,
    config: TesterConfig,
}

/// Runs the command.
pub(super) async fn run(args: &args::Replay) -> Result<(), Failure> {
    if args.pace == Pace::Times(0.0) {
        let hint = "1 is as recorded, 0.5 half as fast, `max` asks on as soon as it is answered";
        return Err(Failure::input("--pace 0 would never ask", Some(hint.to_owned())));
    }
    let choice = Choice::of(args);
    let overview = Overview::of(&args.file, &choice)?;
    if overview.requests() == 0 {
        let hint = "`twotrip explain FILE` shows what there is in it; --only, --drop, --from and --to choose among the requests";
        return Err(Failure::input(
            "there is no request of a tester to be asked",
            Some(hint.to_owned()),
        ));
    }
    let lanes = Lanes::assign(&overview.survey, &args.bus, &args.bus_of)?;
    let mut replay = Replay {
        seats: seats(args, &overview, &lanes).await?,
        lanes: &lanes,
        comparison: args.compare.unwrap_or(Comparison::Shape),
        choice: &choice,
        counts: Counts::default(),
        begun: Instant::now(),
        pace: args.pace,
        json: args.json,
        before: None,
    };
    let mut stop = pin!(words::stopped()?);
    let ended = tokio::select! {
        biased;
        () = &mut stop => Ok(()),
        ended = async {
            replay.hear_out().await?;
            replay.all(args, &overview).await
        } => ended,
    };
    ended?;
    let left_out = LeftOut {
        unread: overview.unread,
        cut_off: overview.cut_off,
    };
    told::summary(replay.counts, replay.comparison, left_out, args.json)?;
    if let Some(damage) = &overview.survey.damage {
        anstream::eprintln!(
            "{}; what stands before it was asked",
            output::escape(&damage.to_string())
        );
    }
    if replay.counts.is_as_recorded() {
        Ok(())
    } else {
        Err(Failure::NotMet)
    }
}

/// Opens a tester for each bus and size of identifiers that was asked with.
async fn seats(
    args: &args::Replay,
    overview: &Overview,
    lanes: &Lanes,
) -> Result<BTreeMap<(usize, bool), Seat>, Failure> {
    let mut seats = BTreeMap::new();
    for (place, name) in lanes.names.iter().enumerate() {
        let recorded = || (0..lanes.of.len()).filter(|&bus| lanes.of[bus] == Some(place));
        let expected: Vec<CanId> = recorded()
            .flat_map(|bus| overview.ecus[bus].iter().map(|ecu| ecu.response()))
            .collect();
        let mut looked = None;
        if args.on_a_bench {
            looked = Some(lanes::bench_for(name, &expected).await?);
        }
        for extended in [false, true] {
            let asked: Vec<Vec<Ecu>> = recorded()
                .filter_map(|bus| overview.asked(bus, extended))
                .collect();
            if asked.is_empty() {
                continue;
            }
            let config = config(args, overview.frames, extended, &asked.concat())?;
            let session = match (args.on_a_bench, looked.take()) {
                (false, _) => Session::new(Bus::join(name).await.map_err(words::system)?, config),
                (true, Some(bus)) => Session::on_a_bench(bus, config, expected.clone()),
                (true, None) => {
                    let bus = Bus::on_a_bench(name).map_err(words::system)?;
                    Session::on_a_bench(bus, config, expected.clone())
                }
            };
            let session = session.map_err(words::system)?;
            seats.insert((place, extended), Seat { session, config });
        }
    }
    Ok(seats)
}

/// A tester's settings for these ECUs. A busy ECU is asked again only if the recorded tester did.
fn config(
    args: &args::Replay,
    frames: Frames,
    extended: bool,
    ecus: &[Ecu],
) -> Result<TesterConfig, Failure> {
    let config = TesterConfig {
        transport: Profile {
            frames,
            ..args.transport.profile()
        },
        busy_repeats: 0,
        ..TesterConfig::default()
    };
    if !extended {
        return Ok(config);
    }
    let mut addresses: Vec<u8> = Vec::new();
    for ecu in ecus {
        let [.., address] = ecu.response().raw().to_be_bytes();
        if !addresses.contains(&address) {
            addresses.push(address);
        }
    }
    if addresses.len() > EcuNumber::COUNT {
        return Err(Failure::input(
            format!(
                "{} ECUs with 29-bit identifiers, at most eight answer a tester (ISO 15765-4)",
                addresses.len()
            ),
            Some("choose among them: --only 18DB33F1,18DA10F1,18DAF110".to_owned()),
        ));
    }
    Ok(config.extended(&addresses))
}

struct Replay<'a> {
    seats: BTreeMap<(usize, bool), Seat>,
    lanes: &'a Lanes,
    comparison: Comparison,
    choice: &'a Choice,
    counts: Counts,
    begun: Instant,
    pace: Pace,
    json: bool,
    before: Option<Before>,
}

/// How long an ECU may take to answer (P2: ISO 15765-4, from public summaries).
const P2: Duration = Duration::from_millis(50);

impl Replay<'_> {
    /// What others asked before may still be under way to them: nothing of it is to be taken for a reply to us.
    async fn hear_out(&mut self) -> Result<(), Failure> {
        for seat in self.seats.values_mut() {
            let heard = seat.session.hear_until(Instant::now() + P2).await;
            heard.map_err(words::system)?;
            seat.session.take_strays();
        }
        self.begun = Instant::now();
        Ok(())
    }

    /// Every pass.
    async fn all(&mut self, args: &args::Replay, overview: &Overview) -> Result<(), Failure> {
        let mut pass = 0;
        while args.passes == 0 || pass < args.passes {
            pass += 1;
            let mut script = Script::open(&args.file, self.choice.clone(), &overview.survey)?;
            loop {
                match script.next() {
                    Ok(Some(planned)) => self.hold(pass, &planned).await?,
                    Ok(None) => break,
                    // It is told at the end.
                    Err(_) if overview.survey.damage.is_some() => {}
                    Err(error) => return Err(super::recorded::failure(&error)),
                }
            }
            self.before = None;
        }
        Ok(())
    }

    /// One conversation.
    async fn hold(&mut self, pass: u64, planned: &Planned) -> Result<(), Failure> {
        let recorded = &planned.conversation;
        let (Some(place), Some((target, extended))) = (self.lanes.of[planned.bus], addressed(recorded.role))
        else {
            return Ok(());
        };
        let Some(seat) = self.seats.get_mut(&(place, extended)) else {
            return Ok(());
        };
        let Seat { session, config } = seat;
        let before = self.before.filter(|_| !planned.begins);
        if let Some(due) = before.map(|before| before.due(recorded, self.pace)) {
            session.hear_until(due).await.map_err(words::system)?;
        }
        // What came late belongs to the question before, which is over.
        let late = session.take_strays();
        let target = match target {
            None => Target::Functional,
            Some(ecu) => match config.ecu_of(ecu.response()) {
                Some(ecu) => Target::Ecu(ecu),
                None => return Ok(()),
            },
        };
        let asked = Instant::now();
        let exchange = session
            .exchange(target, &recorded.request)
            .await
            .map_err(words::system)?;
        let over = exchange.answers.iter().map(|told| told.at).max().unwrap_or(asked);
        let strays = late.into_iter().chain(session.take_strays());
        let service = recorded.request.first().copied().unwrap_or_default();
        let mut found = replies(&exchange, service, config);
        found.extend(strays.filter_map(|frame| stray(&frame)));
        found.retain(|reply| self.choice.compares(reply.ecu));
        // Of an answer that is not whole in the recording nobody knows what it was.
        let begun = found.len();
        let replied = |ecu| recorded.replies.iter().any(|reply| reply.ecu == ecu);
        found.retain(|reply| !recorded.broken.contains(&reply.ecu) || replied(reply.ecu));
        self.counts.incomplete += u64::try_from(begun - found.len()).unwrap_or(u64::MAX);
        let findings = compare_replies(&recorded.replies, &found, self.comparison);
        self.counts.add(recorded, &findings);
        self.before = Some(Before::new(recorded, asked, over));
        let name = self.lanes.names[place].to_string();
        Held {
            at: asked - self.begun,
            pass,
            bus: (self.lanes.names.len() > 1).then_some(name.as_str()),
            recorded,
            found: &found,
            findings: &findings,
            trouble: &trouble(&exchange, config),
        }
        .show(self.json)
    }
}

/// Whom a request is for (nothing: all), and whether by identifiers of 29 bits.
fn addressed(role: Role) -> Option<(Option<Ecu>, bool)> {
    match role {
        Role::AskAll { extended } => Some((None, extended)),
        Role::Ask(ecu) => Some((Some(ecu), ecu.response().is_extended())),
        Role::Answer(_) => None,
    }
}

fn ecu_of(response: CanId) -> Option<Ecu> {
    match Role::of(response) {
        Some(Role::Answer(ecu)) => Some(ecu),
        _ => None,
    }
}

/// The replies of an exchange. One that was put off and never came is as it would be recorded.
fn replies(exchange: &Exchange, service: u8, config: &TesterConfig) -> Vec<Reply> {
    let answers = exchange.answers.iter().filter_map(|told| {
        let mut reply = Reply::new(ecu_of(config.address(told.ecu).response)?, told.payload.clone());
        (reply.latency, reply.waits) = (told.after, told.waits);
        Some(reply)
    });
    let pending = exchange.pending.iter().filter_map(|&(ecu, waits)| {
        let mut reply = Reply::new(ecu_of(config.address(ecu).response)?, vec![0x7F, service, 0x78]);
        reply.waits = waits;
        Some(reply)
    });
    answers.chain(pending).collect()
}

/// What an ECU said beside the exchange: a whole message, or the beginning of one that nobody let it finish.
fn stray(frame: &Frame) -> Option<Reply> {
    let ecu = ecu_of(frame.id())?;
    match Pdu::parse(frame.data()).ok()? {
        Pdu::SingleFrame { payload } | Pdu::FirstFrame { payload, .. } => {
            Some(Reply::new(ecu, payload.as_slice().to_vec()))
        }
        Pdu::ConsecutiveFrame { .. } | Pdu::FlowControl { .. } => None,
    }
}

/// What transport has to say.
fn trouble(exchange: &Exchange, config: &TesterConfig) -> Vec<String> {
    let name = |ecu: EcuNumber| config.address(ecu).response;
    let refused = exchange
        .refused
        .iter()
        .map(|result| format!("the request was not taken: {result}"));
    let broken = exchange.broken.iter();
    let broken = broken.map(|&(ecu, result)| format!("the answer of {} broke off: {result}", name(ecu)));
    let pending = exchange.pending.iter();
    let pending = pending.map(|&(ecu, waits)| {
        format!(
            "{} asked for time {waits} times (7F xx 78) and gave no answer",
            name(ecu)
        )
    });
    refused.chain(broken).chain(pending).collect()
}
