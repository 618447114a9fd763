//! Reading a recording and saying in words what was asked and answered: nothing is allocated for a frame or a message,
//! and ten times as many take no more memory.

use std::{ops::Range, time::Duration};

use twotrip_can::Frame;
use twotrip_capture::{Direction, Item, items, write};
use twotrip_dialogue::{Dialogue, Event, Role, conduct::Conduct};
use twotrip_obd::{Dialect, write_request, write_response};
use twotrip_sim::Timing;
use twotrip_units::BusInstant;

use crate::{ask_everything, lived_through};

/// Everything that a tester can ask, asked once, with all answers.
fn session() -> Vec<(BusInstant, Frame)> {
    let mut car = lived_through(Timing::REAL, false, Dialect::Classic);
    let mut frames = Vec::new();
    let mut now = BusInstant::ZERO;
    ask_everything(&mut car, &mut now, |at, frame| frames.push((at, *frame)));
    frames
}

/// A recording of the same session in these minutes.
fn recording(session: &[(BusInstant, Frame)], minutes: Range<u64>) -> Vec<u8> {
    let mut file = Vec::new();
    write::section(&mut file, &write::Section::default());
    write::interface(&mut file, &write::Interface::default());
    for minute in minutes {
        for &(at, ref frame) in session {
            let packet = write::Packet {
                interface: 0,
                at: (at + Duration::from_secs(60 * minute)).as_nanos(),
                direction: Some(Direction::Inbound),
                dropped: 0,
                frame,
            };
            write::packet(&mut file, &packet, []);
        }
    }
    file
}

/// Listens to a recording as `explain` does, the line of a message in memory that the next one uses again.
#[derive(Default)]
struct Listener {
    dialogue: Dialogue,
    conduct: Conduct,
    line: String,
    frames: u64,
    messages: u64,
    breaches: u64,
}

impl Listener {
    fn hear(&mut self, file: &[u8]) {
        for item in items(file) {
            let Ok(Item::Packet(packet)) = item else {
                continue;
            };
            let frame = packet.frame().expect("it was written as one");
            let at = BusInstant::from_nanos(packet.at.expect("packets have a time"));
            self.frames += 1;
            self.dialogue.on_frame(self.frames, at, &frame);
            while let Some(event) = self.dialogue.poll_event() {
                self.conduct.on_event(&event);
                match event {
                    Event::Message(message) => {
                        self.line.clear();
                        match message.role {
                            Role::Answer(_) => write_response(&mut self.line, &message.bytes),
                            Role::AskAll { .. } | Role::Ask(_) => {
                                write_request(&mut self.line, &message.bytes)
                            }
                        }
                        .expect("a string takes everything");
                        self.messages += 1;
                        self.dialogue.recycle(message);
                    }
                    Event::Breach { .. } => self.breaches += 1,
                    Event::Unit(_) => {}
                }
            }
        }
    }
}

#[test]
fn no_heap_allocation_while_a_recording_is_explained() {
    let session = session();
    let file = recording(&session, 5..25);
    let mut listener = Listener::default();
    // Each of a few buffers grows to the longest message.
    listener.hear(&recording(&session, 0..5));
    let before = listener.messages;
    // The decoder remembers the file's interface: once a file, not once a frame.
    let empty = recording(&[], 0..1);
    let empty = allocation_counter::measure(|| listener.hear(&empty));
    let counted = allocation_counter::measure(|| listener.hear(&file));
    assert_eq!(listener.messages, 5 * before, "20 sessions after 5");
    assert!(before > 20 && listener.breaches > 0);
    assert!(listener.frames > 20 * 40, "only {} frames", listener.frames);
    assert!(
        counted.count_total <= empty.count_total,
        "{} allocations for {} frames",
        counted.count_total,
        listener.frames
    );
}

#[test]
fn a_recording_ten_times_as_long_takes_no_more_memory() {
    let session = session();
    let memory = |times| {
        let file = recording(&session, 0..times);
        allocation_counter::measure(|| Listener::default().hear(&file)).bytes_max
    };
    assert_eq!(memory(20), memory(200));
}
