//! When frames go, with a clock of the tests' own: no frame early, none lost, no burst that a wire could not carry.

use std::time::Duration;

use twotrip_can::{CanId, Frame, timing::frame_bits};
use twotrip_units::BusInstant;

use super::{Due, Entry, Order, Pacer, Speed, Wire};

/// The recorded time of the first frame: some day in 2026.
const DAY: u64 = 1_790_000_000_000_000_000;
const START: BusInstant = BusInstant::from_millis(1);

fn frame(number: u64) -> Frame {
    Frame::padded(CanId::Standard(0x123), &number.to_be_bytes(), 0)
}

fn entry(micros: u64, number: u64) -> Entry {
    Entry {
        lane: 0,
        at: DAY + micros * 1000,
        begins: false,
        frame: frame(number),
    }
}

/// How long 500 kbit/s take for it: 2 us a bit.
fn wire_time(frame: &Frame) -> Duration {
    Duration::from_micros(wire_micros(frame))
}

fn wire_micros(frame: &Frame) -> u64 {
    u64::from(frame_bits(frame).at_most()) * 2
}

/// Plays frames; before each of them the thread is late by what `delay` says. When each was due, and when it went.
fn play(
    pacer: &mut Pacer,
    entries: impl IntoIterator<Item = Entry>,
    mut delay: impl FnMut(usize) -> Duration,
) -> Vec<(Due, BusInstant)> {
    let mut now = BusInstant::ZERO;
    let went = entries.into_iter().enumerate().map(|(number, entry)| {
        let due = pacer.due(&entry);
        let ready = pacer.ready(&due);
        assert!(ready >= due.at, "frame {number} would be early");
        now = now.max(ready) + delay(number);
        pacer.sent(&due, ready, now);
        (due, now)
    });
    went.collect()
}

/// That no more bits went in any time than a wire carries in it, but for one frame.
fn assert_carried(went: &[(Due, BusInstant)], rate: u64) {
    for first in 0..went.len() {
        // The first frame has passed when it is stamped, and one may be ahead.
        let mut bits = 0;
        for (due, at) in went.iter().skip(first + 1) {
            bits += u64::from(frame_bits(&due.frame).at_most());
            let room = at.saturating_since(went[first].1).as_nanos() * u128::from(rate) / 1_000_000_000;
            assert!(
                u128::from(bits) <= room + 160,
                "{bits} bits in {room} from frame {first} on"
            );
        }
    }
}

#[test]
fn on_an_idle_machine_the_spacing_is_the_recorded_one_to_the_nanosecond() {
    let times = [0, 1, 250, 999_983, 1_000_000, 60_000_001];
    for wire in [Wire::Thought(500_000), Wire::None] {
        let mut pacer = Pacer::new(Speed::Times(1.0), [wire], START);
        let went = play(&mut pacer, times.map(|at| entry(at, at)), |_| Duration::ZERO);
        for (at, (due, went)) in times.into_iter().zip(went) {
            assert_eq!(went, START + Duration::from_micros(at), "{wire:?}");
            assert_eq!(due.at, went);
        }
    }
}

#[test]
fn the_pace_stretches_and_shortens_it() {
    for (times, factor) in [(0.5, 2.0), (10.0, 0.1), (3.0, 1.0 / 3.0)] {
        let mut pacer = Pacer::new(Speed::Times(times), [Wire::None], START);
        let went = play(&mut pacer, [0, 7000, 90_000].map(|at| entry(at, at)), |_| {
            Duration::ZERO
        });
        for (at, (_, went)) in [0.0, 0.007, 0.09].into_iter().zip(went) {
            let since = went.saturating_since(START).as_secs_f64();
            assert!((since - at * factor).abs() < 2e-9, "{times}: {since}");
        }
    }
}

/// A wire whose rate is known carries frames no closer than their bits, even where the recorder's stamps say so.
#[test]
fn a_known_wire_is_never_asked_for_more_than_it_carries() {
    let entries: Vec<Entry> = (0..100).map(|number| entry(number / 10 * 3000, number)).collect();
    let mut pacer = Pacer::new(Speed::Times(1.0), [Wire::Known(500_000)], START);
    let went = play(&mut pacer, entries, |_| Duration::ZERO);
    for pair in went.windows(2) {
        let apart = pair[1].1.saturating_since(pair[0].1);
        assert!(apart >= wire_time(&pair[1].0.frame), "{apart:?}");
    }
    // The pauses between the bunches are longer than what the bunches are stretched by.
    assert_eq!(went[90].1, went[90].0.at);
}

#[test]
fn a_delay_is_caught_up_without_a_burst() {
    // Half of the wire is taken: one frame in 500 us.
    let entries: Vec<Entry> = (0..400).map(|number| entry(number * 500, number)).collect();
    for wire in [Wire::Known(500_000), Wire::Thought(500_000)] {
        let mut pacer = Pacer::new(Speed::Times(1.0), [wire], START);
        let stall = |number| Duration::from_millis(if number == 100 { 40 } else { 0 });
        let went = play(&mut pacer, entries.clone(), stall);
        assert_carried(&went, 500_000);
        let late = |number: usize| went[number].1.saturating_since(went[number].0.at);
        assert_eq!(late(99), Duration::ZERO);
        assert_eq!(late(100), Duration::from_millis(40));
        assert!(
            late(150) < late(101) && late(150) > Duration::ZERO,
            "{:?}",
            late(150)
        );
        assert_eq!(late(399), Duration::ZERO, "the recording's times are met again");
    }
}

/// A thread that is always woken a little late keeps up with a wire that is full.
#[test]
fn a_thread_that_is_always_late_does_not_fall_behind() {
    let mut at = 0;
    let entries: Vec<Entry> = (0..600)
        .map(|number| {
            at += wire_micros(&frame(number));
            entry(at, number)
        })
        .collect();
    let mut pacer = Pacer::new(Speed::Times(1.0), [Wire::Known(500_000)], START);
    let went = play(&mut pacer, entries, |_| Duration::from_micros(120));
    assert_carried(&went, 500_000);
    let late = went.iter().map(|(due, went)| went.saturating_since(due.at));
    assert!(late.max() < Some(Duration::from_micros(240)));
}

/// A recording of a virtual bus may be denser than any wire: its own spacing is what is caught up with.
#[test]
fn what_was_recorded_closer_together_may_be_so_again() {
    let entries: Vec<Entry> = (0..1000).map(|number| entry(number * 33, number)).collect();
    let mut pacer = Pacer::new(Speed::Times(1.0), [Wire::Thought(500_000)], START);
    let went = play(&mut pacer, entries, |number| {
        Duration::from_micros(if number == 10 { 50 } else { 2 })
    });
    let late = went.iter().map(|(due, went)| went.saturating_since(due.at));
    assert!(late.max() < Some(Duration::from_micros(60)));
}

#[test]
fn as_fast_as_the_wire_carries_it() {
    for (wire, wanted) in [
        (Wire::Known(500_000), true),
        (Wire::Thought(500_000), true),
        (Wire::None, false),
    ] {
        let mut pacer = Pacer::new(Speed::Max, [wire], START);
        let entries = (0..100).map(|number| entry(number * 1_000_000, number));
        let went = play(&mut pacer, entries, |_| Duration::ZERO);
        let wire: Duration = went.iter().skip(1).map(|(due, _)| wire_time(&due.frame)).sum();
        let wire = if wanted { wire } else { Duration::ZERO };
        assert_eq!(went[99].1.saturating_since(START), wire);
    }
}

/// A recorder that goes on in the same file a day later, and the next pass of a loop, which begins at the old times.
#[test]
fn what_begins_anew_follows_at_once() {
    let anew = |micros| Entry {
        begins: true,
        ..entry(micros, 0)
    };
    let (hour, day) = (3_600_000_000, 86_400_000_000);
    let entries = [
        anew(0),
        entry(500, 1),
        anew(day),
        entry(day + 700, 2),
        anew(0),
        entry(hour, 3),
    ];
    let mut pacer = Pacer::new(Speed::Times(1.0), [Wire::Known(500_000)], START);
    let went = play(&mut pacer, entries, |_| Duration::ZERO);
    let one = wire_micros(&frame(0));
    let since = |place: usize| went[place].1.saturating_since(START);
    let wanted = [
        0,
        500,
        500 + one,
        1200 + one,
        1200 + 2 * one,
        1200 + 2 * one + hour,
    ];
    for (place, wanted) in wanted.into_iter().enumerate() {
        assert_eq!(since(place), Duration::from_micros(wanted), "frame {place}");
    }
}

/// FD frames are measured by an upper bound, so that bound holds up only frames that catch up.
#[test]
fn an_upper_bound_does_not_stretch_a_recording() {
    let fd = Frame::fd(CanId::Standard(1), &[0; 64], true, false).expect("64 bytes fit");
    let entries = (0..50).map(|number| Entry {
        frame: fd,
        ..entry(number * 400, 0)
    });
    let mut pacer = Pacer::new(Speed::Times(1.0), [Wire::Known(500_000)], START);
    let went = play(&mut pacer, entries, |_| Duration::ZERO);
    assert!(went.iter().all(|(due, went)| due.at == *went));
}

#[test]
fn several_buses_are_sent_in_the_order_of_their_times() {
    let due = |lane, millis, number| Due {
        lane,
        at: BusInstant::from_millis(millis),
        frame: frame(number),
    };
    // A recorder has read five of one bus, then what came on the other meanwhile; one stamp went back.
    let file = [
        due(0, 1, 0),
        due(0, 3, 1),
        due(0, 2, 2),
        due(0, 9, 3),
        due(1, 2, 4),
        due(1, 3, 5),
        due(1, 5, 6),
    ];
    let mut order = Order::new(2);
    for due in file {
        assert!(order.has_room());
        order.push(due);
    }
    let sent: Vec<u64> = std::iter::from_fn(|| order.pop())
        .map(|due| u64::from_be_bytes(*due.frame.data().first_chunk().expect("eight bytes")))
        .collect();
    assert_eq!(sent, [0, 4, 1, 2, 5, 6, 3]);
    // One bus: nothing is looked at ahead.
    let mut order = Order::new(1);
    order.push(due(0, 1, 0));
    assert!(!order.has_room());
}
