//! How late frames of a replay go, against a bare `clock_nanosleep` loop in the same run.
//!
//! The time of each benchmark is the median lateness of a thousand frames, 1 ms apart. The replay runs as the command does:
//! through the player, onto an embedded bus with a client that reads. The bare loop stands here twice: as a thread is by default,
//! and as one that has asked the kernel for exact wakes, as the player does. At the end the ratio of both in turns.

use std::{
    hint::black_box,
    num::NonZeroU64,
    sync::mpsc,
    thread,
    time::{Duration, Instant},
};

use criterion::{Criterion, SamplingMode};
use rustix::{
    thread::{ClockId as Sleeper, clock_nanosleep_absolute, set_current_timer_slack},
    time::{ClockId, Timespec, clock_gettime},
};
use twotrip_can::{CanId, Frame};
use twotrip_host::{
    bus::{Bus, Name},
    replay::frames::{Entry, Lane, Player, Speed, Wire},
};

const FRAMES: u64 = 1000;
const GAP: u64 = 1_000_000;
/// Turns of the comparison at the end.
const TURNS: usize = 10;

fn median(mut late: Vec<Duration>) -> Duration {
    late.sort_unstable();
    late[late.len() / 2]
}

/// A thread of its own for each: what it asks of the kernel ends with it.
fn on_a_thread(work: impl FnOnce() -> Duration + Send + 'static) -> Duration {
    thread::spawn(work).join().expect("the thread ends well")
}

fn nanos() -> u64 {
    let now = clock_gettime(ClockId::Monotonic);
    u64::try_from(now.tv_sec).expect("after the start") * 1_000_000_000
        + u64::try_from(now.tv_nsec).expect("positive")
}

/// The bare loop.
fn bare(is_exact: bool) -> Duration {
    on_a_thread(move || {
        if is_exact {
            set_current_timer_slack(NonZeroU64::new(1)).expect("everybody may");
        }
        let start = nanos() + GAP;
        let late = (0..FRAMES).map(|number| {
            let due = start + number * GAP;
            let request = Timespec {
                tv_sec: i64::try_from(due / 1_000_000_000).expect("not so late"),
                tv_nsec: (due % 1_000_000_000).try_into().expect("below a second"),
            };
            clock_nanosleep_absolute(Sleeper::Monotonic, &request).expect("no signals here");
            Duration::from_nanos(nanos() - due)
        });
        median(late.collect())
    })
}

/// The player on an embedded bus, and somebody who reads it.
fn replay() -> Duration {
    on_a_thread(|| {
        let name: Name = format!("local:bench-replay-{}", std::process::id())
            .parse()
            .expect("a name");
        let runtime = || {
            tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .expect("a runtime")
        };
        let (made, wait) = mpsc::channel();
        let theirs = name.clone();
        let client = thread::spawn(move || {
            wait.recv().expect("the bus is made");
            runtime().block_on(async {
                let mut bus = Bus::join(&theirs).await.expect("it is there");
                while let Ok(event) = bus.recv().await {
                    black_box(event);
                }
            });
        });
        let late = runtime().block_on(async {
            let lane = Lane {
                bus: Bus::host(&name).expect("nobody has it"),
                wire: Wire::Thought(500_000),
                watch: None,
            };
            made.send(()).expect("the client waits");
            let mut player = Player::new(vec![lane], Speed::Times(1.0));
            let never = std::future::pending;
            player
                .await_clients::<std::io::Error>(never())
                .await
                .expect("it joins");
            let mut entries = (0..FRAMES).map(|number| Entry {
                lane: 0,
                at: number * GAP,
                begins: false,
                frame: Frame::padded(CanId::Standard(0x123), &number.to_be_bytes(), 0),
            });
            player
                .play::<std::io::Error>(|| Ok(entries.next()), never(), |_| {})
                .await
                .expect("it ends");
            player.lateness().quantile(500).expect("frames")
        });
        client.join().expect("it ends with the bus");
        late
    })
}

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("replay lateness");
    // What is told is lateness, not the time that it takes to find out.
    group.sampling_mode(SamplingMode::Flat).sample_size(10);
    group
        .warm_up_time(Duration::from_millis(1))
        .measurement_time(Duration::from_micros(1));
    let times = |count: u64, late: Duration| late * u32::try_from(count).unwrap_or(u32::MAX);
    group.bench_function("bare clock_nanosleep", |bencher| {
        bencher.iter_custom(|count| times(count, bare(false)));
    });
    group.bench_function("bare clock_nanosleep, exact", |bencher| {
        bencher.iter_custom(|count| times(count, bare(true)));
    });
    group.bench_function("replay", |bencher| {
        bencher.iter_custom(|count| times(count, replay()));
    });
    group.finish();
    criterion.final_summary();
    // Cargo gives `--bench` where something is to be measured; run as a test, it only has to work.
    if std::env::args().any(|word| word == "--bench") {
        compare();
    }
}

/// In turns, so that what else the machine does meets all.
fn compare() {
    let begun = Instant::now();
    let turns: Vec<[Duration; 3]> = (0..TURNS).map(|_| [bare(false), bare(true), replay()]).collect();
    let of = |place: usize| median(turns.iter().map(|turn| turn[place]).collect());
    let (plain, exact, replay) = (of(0), of(1), of(2));
    let ratio = |peer: Duration| replay.as_secs_f64() / peer.as_secs_f64();
    println!(
        "median lateness in {TURNS} turns ({:.0} s): bare {plain:?}, bare and exact {exact:?}, replay {replay:?}: \
         {:.2} and {:.2} times",
        begun.elapsed().as_secs_f64(),
        ratio(plain),
        ratio(exact)
    );
}
