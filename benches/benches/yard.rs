//! Many cars in one process in real time (`host::yard`), each polled twice a second: what answers take, how late they are, what it
//! costs. Two threads drive the cars, two ask.
//!
//! `cargo bench -p twotrip-benches --bench yard -- 5000 20`: so many cars for so many seconds, parked with the key on, then with the
//! engine idling. As a test: 20 cars for half a second.
//!
//! A request counts from when it was due by its schedule, not from when the asking thread got round to it.

use std::{fs, num::NonZeroUsize, thread, time::Duration};

use rustix::time::{ClockId, clock_gettime};
use twotrip::{Builder, CanId, Car, Frame, Instant};
use twotrip_benches::cpu_time;
use twotrip_host::yard::{Plug, Yard};

/// Between two requests to one car.
const PERIOD: Duration = Duration::from_millis(500);
/// Threads that drive cars, and as many that ask.
const THREADS: usize = 2;
/// Until the first request, for all threads to be ready.
const LEAD: Duration = Duration::from_millis(100);
/// When all that was asked has been answered, or never will be.
const PATIENCE: Duration = Duration::from_secs(60);
/// Engine speed, as a tool asks all ECUs for it.
const REQUEST: [u8; 3] = [2, 0x01, 0x0C];

/// What one asking thread saw, in nanoseconds.
#[derive(Default)]
struct Seen {
    asked: usize,
    /// From when the request was due to when the tool had the answer.
    answers: Vec<u64>,
    /// From when the answer was on the bus of its car to when the tool had it.
    lateness: Vec<u64>,
    processor: Duration,
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let is_bench = std::env::args().any(|argument| argument == "--bench");
    let mut number = || {
        arguments
            .by_ref()
            .find_map(|argument| argument.parse::<u32>().ok())
    };
    let (cars, seconds) = (number(), number());
    let (cars, span) = if is_bench {
        (
            cars.unwrap_or(5000).max(2),
            Duration::from_secs(seconds.unwrap_or(20).into()),
        )
    } else {
        (20, PERIOD)
    };
    let bare = resident();
    measure("parked, key on", "key on", cars, span, bare);
    measure("engine idling", "start", cars, span, bare);
}

fn measure(name: &str, story: &str, count: u32, span: Duration, bare: u64) {
    let cars: Vec<Car> = (0..count).map(|seed| car(story, seed)).collect();
    let threads = NonZeroUsize::new(THREADS).expect("not none");
    let yard = Yard::open(cars, threads).expect("threads");
    let plugs = [0, 1].map(|place| yard.plug_into((place..yard.cars()).step_by(THREADS)));
    let (begun, used) = (yard.now() + LEAD, cpu_time::used());
    let seen: Vec<Seen> = thread::scope(|scope| {
        let askers = plugs.into_iter().enumerate();
        let askers: Vec<_> = askers
            .map(|(place, plug)| {
                let yard = &yard;
                scope.spawn(move || ask(yard, &plug, place, begun, span))
            })
            .collect();
        let seen = askers.into_iter().map(|asker| asker.join().expect("no panic"));
        seen.collect()
    });
    let (used, took) = (cpu_time::used() - used, yard.now().saturating_since(begun));
    let asked: usize = seen.iter().map(|seen| seen.asked).sum();
    let asking: Duration = seen.iter().map(|seen| seen.processor).sum();
    let sorted = |of: fn(&Seen) -> &Vec<u64>| {
        let mut all: Vec<u64> = seen.iter().flat_map(of).copied().collect();
        all.sort_unstable();
        all
    };
    let (answers, lateness) = (sorted(|seen| &seen.answers), sorted(|seen| &seen.lateness));
    assert_eq!(
        answers.len(),
        asked,
        "answers, and requests: what was lost came too late for the room that there is"
    );
    println!("{count} cars, {name}, {:.1} s", took.as_secs_f64());
    println!("  requests          {asked}, all answered");
    println!("  answer            {}", quantiles(&answers));
    println!("  lateness          {}", quantiles(&lateness));
    println!(
        "  processor         {:.3} of one, {:.3} of it the threads that ask",
        used.as_secs_f64() / took.as_secs_f64(),
        asking.as_secs_f64() / took.as_secs_f64()
    );
    println!(
        "  resident memory   {} kB a car",
        resident().saturating_sub(bare) / u64::from(count)
    );
}

fn car(story: &str, seed: u32) -> Car {
    Builder::of_vehicle("compact-2.0")
        .and_then(|car| car.story(story)?.seed(seed.into()).build())
        .expect("a car")
}

/// Asks each car of this thread twice a second, evenly spread.
fn ask(yard: &Yard, plug: &Plug, place: usize, begun: Instant, span: Duration) -> Seen {
    let mine: Vec<usize> = (place..yard.cars()).step_by(THREADS).collect();
    let gap = PERIOD / u32::try_from(mine.len()).expect("not that many cars");
    let request = Frame::padded(CanId::Standard(0x7DF), &REQUEST, 0);
    // A car's request is due when its turn comes, and its answer counts from there.
    let mut due = vec![Instant::ZERO; yard.cars()];
    let mut seen = Seen::default();
    let (mut next, end) = (begun + gap * u32::try_from(place).unwrap_or(0) / 2, begun + span);
    let mut turn = mine.iter().cycle();
    while next < end || seen.answers.len() < seen.asked && yard.now() < end + PATIENCE {
        while next < end && next <= yard.now() {
            let number = *turn.next().expect("not none");
            due[number] = next;
            plug.send(number, request).expect("room on the bus");
            seen.asked += 1;
            next += gap;
        }
        let until = if next < end {
            next
        } else {
            yard.now() + Duration::from_millis(10)
        };
        let Some((number, wired)) = plug.receive(until.saturating_since(yard.now())) else {
            continue;
        };
        let now = yard.now();
        assert_eq!(wired.frame.data()[..3], [4, 0x41, 0x0C]);
        seen.answers.push(nanos(now.saturating_since(due[number])));
        seen.lateness.push(nanos(now.saturating_since(wired.at)));
    }
    let time = clock_gettime(ClockId::ThreadCPUTime);
    seen.processor = Duration::new(
        time.tv_sec.try_into().unwrap_or(0),
        time.tv_nsec.try_into().unwrap_or(0),
    );
    seen
}

fn nanos(span: Duration) -> u64 {
    u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)
}

fn quantiles(sorted: &[u64]) -> String {
    let at = |share: usize| sorted[(sorted.len() * share / 1000).min(sorted.len() - 1)] as f64 / 1e6;
    format!(
        "median {:.2} ms, 99 of 100 within {:.2} ms, 999 of 1,000 within {:.2} ms, at most {:.2} ms",
        at(500),
        at(990),
        at(999),
        at(1000)
    )
}

/// Resident memory of this process, kB.
fn resident() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let number = line.and_then(|line| line.split_whitespace().next()?.parse().ok());
    number.unwrap_or(0)
}
