use super::*;

fn find(name: &str) -> &'static BroadcastMessage {
    MESSAGES
        .iter()
        .find(|message| message.name == name)
        .expect("it is in the table")
}

/// The bits of a signal, as the module numbers them.
fn bits(message: &BroadcastMessage, signal: &BroadcastSignal) -> u64 {
    let mut bits = 0;
    let mut bit = signal.start;
    for _ in 0..signal.length {
        bits |= 1 << bit;
        bit = match message.order {
            ByteOrder::LittleEndian => bit.wrapping_add(1),
            // Downwards within a byte, then to the top of the next.
            ByteOrder::BigEndian if bit.is_multiple_of(8) => bit + 15,
            ByteOrder::BigEndian => bit - 1,
        };
    }
    bits
}

#[test]
fn identifiers_rise_and_leave_diagnostics_alone() {
    for pair in MESSAGES.windows(2) {
        assert!(pair[0].id < pair[1].id, "{}", pair[1].name);
    }
    for message in &MESSAGES {
        let (id, name) = (message.id, message.name);
        assert!(id < 0x7DF && id & 0x7F0 != 0x7E0, "{name}");
        assert!(
            message.offset < message.cycle || message.cycle.as_millis() <= 20,
            "{name}"
        );
        assert!(message.length <= 8, "{name}");
    }
}

/// No two signals share a bit, and none leaves the message.
#[test]
fn signals_do_not_overlap() {
    for message in &MESSAGES {
        let mut taken = 0;
        let inside = u64::MAX >> (64 - 8 * u32::from(message.length));
        for signal in message.signals {
            let (bits, name) = (bits(message, signal), signal.name);
            assert_eq!(bits & taken, 0, "{} {name}", message.name);
            assert_eq!(bits & !inside, 0, "{} {name}", message.name);
            assert_eq!(
                bits.count_ones(),
                u32::from(signal.length),
                "{} {name}",
                message.name
            );
            taken |= bits;
        }
    }
}

/// What is written can be read again, at both ends of each range, and touches no other bit.
#[test]
fn every_signal_comes_back() {
    for message in &MESSAGES {
        for signal in message.signals {
            let (content, name) = (signal.content, signal.name);
            if matches!(content, Content::Counter | Content::Checksum) {
                continue;
            }
            let [least, greatest] = signal.range();
            let middle = least + 0.4 * (greatest - least);
            for value in [least, middle, greatest, least - 1e6, greatest + 1e6, f64::NAN] {
                let data = message.encode(0, |asked| if asked == content { value } else { 0.0 });
                let read = message.decode(signal, data);
                let wanted = if value.is_nan() {
                    least
                } else {
                    value.clamp(least, greatest)
                };
                assert!(
                    (read - wanted).abs() <= 0.5 * signal.scale + 1e-9,
                    "{} {name}: {value} reads {read}",
                    message.name
                );
            }
            let last = usize::from(message.length) - 1;
            let mut full = message.encode(0, |asked| if asked == content { greatest } else { f64::NAN });
            let mut empty = message.encode(0, |_| f64::NAN);
            if message
                .signals
                .iter()
                .any(|signal| signal.content == Content::Checksum)
            {
                (full[last], empty[last]) = (0, 0);
            }
            let changed = u64::from_le_bytes(full) ^ u64::from_le_bytes(empty);
            assert_eq!(changed & !bits_of(message, content), 0, "{} {name}", message.name);
        }
    }
}

/// Wheel speeds are four signals of one content.
fn bits_of(message: &BroadcastMessage, content: Content) -> u64 {
    let signals = message.signals.iter().filter(|signal| signal.content == content);
    signals
        .map(|signal| bits(message, signal))
        .fold(0, |all, bits| all | bits)
}

/// Frames worked out by hand.
#[test]
fn bytes_stand_where_the_order_puts_them() {
    let little = find("engine-torque");
    let data = little.encode(5, |content| match content {
        Content::EngineSpeed => 2000.0,
        Content::EngineTorque => -10.0,
        Content::Pedal => 20.0,
        Content::EngineRuns => 1.0,
        _ => 0.0,
    });
    // 8000, -40 in 12 bits, and the switch above it; 50.
    assert_eq!(data[..7], [0x40, 0x1F, 0xD8, 0x1F, 0x00, 0x50, 50]);
    assert_eq!(data[7], checksum(&data[..7]));
    let big = find("wheel-speeds");
    let data = big.encode(0, |_| 100.0);
    assert_eq!(data, [0x27, 0x10, 0x27, 0x10, 0x27, 0x10, 0x27, 0x10]);
}

/// The check value of this CRC: 4B for the digits 1 to 9.
#[test]
fn the_checksum_is_that_of_j1850() {
    assert_eq!(checksum(b"123456789"), 0x4B);
    assert_eq!(checksum(&[]), 0x00);
}
