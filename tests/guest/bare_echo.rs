//! The least that can answer on a CAN interface: a blocking read, a blocking write, nothing between.
//!
//! `bare-echo INTERFACE` answers each `01 0C` on 7DF with a fixed engine speed on 7E8. The guest measures the program
//! against it: what is over is the program's own cost.

use std::env;
use std::error::Error;

use socketcan::{CanDataFrame, CanFrame, CanSocket, EmbeddedFrame, Socket, StandardId};

fn main() -> Result<(), Box<dyn Error>> {
    let interface = env::args().nth(1).ok_or("needs the name of an interface")?;
    let socket = CanSocket::open(&interface)?;
    let functional = StandardId::new(0x7df).ok_or("7DF has 11 bits")?;
    let answer_id = StandardId::new(0x7e8).ok_or("7E8 has 11 bits")?;
    let answer = CanDataFrame::new(answer_id, &[0x04, 0x41, 0x0c, 0x0b, 0xb8, 0, 0, 0])
        .map(CanFrame::Data)
        .ok_or("eight bytes fit")?;
    println!("ready");
    loop {
        let CanFrame::Data(request) = socket.read_frame()? else {
            continue;
        };
        if request.id() == functional.into() && request.data().starts_with(&[0x02, 0x01, 0x0c]) {
            socket.write_frame(&answer)?;
        }
    }
}
