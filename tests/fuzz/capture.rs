//! Recordings: pcapng and pcap, in either byte order, broken anywhere.

use std::path::Path;

use twotrip_capture::{Item, items};

use crate::target::Target;

pub(crate) fn target() -> Target {
    // Above either package that this file is part of.
    let above = Path::new(env!("CARGO_MANIFEST_DIR")).ancestors();
    let files = above.map(|folder| std::fs::read_dir(folder.join("cli/captures")));
    let files = files.flatten().next().expect("there are some");
    let files = files.map(|entry| entry.expect("readable").path());
    let mut files: Vec<_> = files
        .filter(|path| path.extension().is_some_and(|extension| extension == "pcapng"))
        .collect();
    files.sort();
    let mut examples = Vec::new();
    for file in files {
        let bytes = std::fs::read(file).expect("readable");
        examples.push(bytes[..bytes.len().min(3000)].to_vec());
        examples.push(bytes[..bytes.len().min(400)].to_vec());
    }
    // The older format, big-endian: header, then a frame of four bytes of data.
    let mut old = vec![
        0xA1, 0xB2, 0xC3, 0xD4, 0, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0, 0, 0, 227,
    ];
    old.extend([
        0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0, 12, 0, 0, 0, 12, 0, 0, 7, 0xE8, 4, 0, 0, 0, 3, 0x41, 0x0D, 0x50,
    ]);
    examples.push(old);
    Target {
        name: "recordings",
        inputs: 150_000,
        longest: 4096,
        memory: 256 * 1024,
        examples,
        feed,
    }
}

fn feed(input: &[u8]) -> usize {
    let mut depth = 0;
    for item in items(input) {
        match item {
            Ok(Item::Packet(packet)) => {
                let read = packet.frame();
                let _ = (packet.direction(), packet.dropped(), packet.comments().count());
                depth += 1 + usize::from(read.is_ok());
            }
            Ok(Item::Section(section)) => {
                depth += section
                    .options
                    .comments()
                    .map(|text| text.len().min(50))
                    .sum::<usize>();
            }
            Ok(Item::Interface(interface)) => {
                let _ = (interface.name().map(|name| name.len()), interface.bit_rate());
                depth += 3;
            }
            Ok(Item::Statistics(counts)) => {
                let _ = (
                    counts.received(),
                    counts.dropped_by_interface(),
                    counts.dropped_by_system(),
                );
                depth += 5;
            }
            Ok(Item::Other(_)) => {}
            Err(damage) => assert!(!damage.to_string().is_empty()),
        }
    }
    depth.min(4000)
}
