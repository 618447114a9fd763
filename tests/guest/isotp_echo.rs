//! The least that can answer whole messages on a CAN interface: a blocking socket of the kernel's own ISO 15765-2
//! (CAN_ISOTP, net/can/isotp.c), nothing above it. The guest measures the program against it.
//!
//! `isotp-echo INTERFACE [GAPLESS]` answers on 7E8 what comes on 7E0: `09 02` with 20 bytes; service $05, which no ECU on CAN
//! has, with its refusal; anything else with itself. The kernel leaves 50 us between consecutive frames (frame_txtime);
//! with a second word it leaves none.

use std::env;
use std::error::Error;

use socketcan_isotp::{IsoTpBehaviour, IsoTpOptions, IsoTpSocket, StandardId};

/// An answer of the length of a vehicle identification number.
const TWENTY: [u8; 20] = *b"\x49\x02\x010TW00TRP3A0000042";

fn main() -> Result<(), Box<dyn Error>> {
    let interface = env::args().nth(1).ok_or("needs the name of an interface")?;
    let options = options(env::args().nth(2).is_some())?;
    let request = StandardId::new(0x7E0).ok_or("7E0 has 11 bits")?;
    let response = StandardId::new(0x7E8).ok_or("7E8 has 11 bits")?;
    let mut socket = IsoTpSocket::open_with_opts(&interface, request, response, Some(options), None, None)?;
    println!("ready");
    loop {
        let answer = match socket.read()? {
            [0x09, 0x02] => TWENTY.to_vec(),
            [0x05, ..] => vec![0x7F, 0x05, 0x11],
            other => other.to_vec(),
        };
        socket.write(&answer)?;
    }
}

/// Frames of eight bytes, as ISO 15765-4 wants them.
fn options(gapless: bool) -> Result<IsoTpOptions, Box<dyn Error>> {
    // linux/can/isotp.h, CAN_ISOTP_FRAME_TXTIME_ZERO; 0 leaves the kernel's default of 50 us.
    let txtime = std::time::Duration::from_nanos(if gapless { 0xFFFF_FFFF } else { 0 });
    Ok(IsoTpOptions::new(
        IsoTpBehaviour::CAN_ISOTP_TX_PADDING,
        txtime,
        0,
        0,
        0,
        0,
    )?)
}
