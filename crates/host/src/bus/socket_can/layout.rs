//! A frame as a raw socket carries it: `struct can_frame` and `struct canfd_frame` (linux/can.h).

use twotrip_can::{Frame, record};

use crate::sys::FRAME_LEN;

/// Length of a classic frame on a raw socket, bytes (`CAN_MTU`).
pub(super) const CLASSIC_LEN: usize = 16;

/// The kernel's `canfd_frame` has its identifier in the byte order of the machine, a record in little-endian.
pub(super) fn to_kernel(mut record: [u8; record::LEN]) -> [u8; FRAME_LEN] {
    let id = [record[0], record[1], record[2], record[3]];
    record[..4].copy_from_slice(&u32::from_le_bytes(id).to_ne_bytes());
    record
}

/// The frame in what a raw socket delivered: 16 bytes for classic, 72 for FD.
pub(super) fn from_kernel(mut bytes: [u8; FRAME_LEN], length: usize) -> Option<Frame> {
    let id = [bytes[0], bytes[1], bytes[2], bytes[3]];
    bytes[..4].copy_from_slice(&u32::from_ne_bytes(id).to_le_bytes());
    match length {
        // Byte 5 is padding in a classic frame, and the sender's to fill.
        CLASSIC_LEN => bytes[5] = 0,
        FRAME_LEN => {
            bytes[5] |= FDF;
            // A virtual interface lets lengths through that no wire carries; a controller would fill with zeros.
            let len = usize::from(bytes[4]);
            let carried = FD_LENGTHS
                .into_iter()
                .find(|&carried| usize::from(carried) >= len)?;
            bytes[8 + len..].fill(0);
            bytes[4] = carried;
        }
        _ => return None,
    }
    record::decode(&bytes).ok()
}

/// `CANFD_FDF` (linux/can.h).
const FDF: u8 = 0x04;
/// The data lengths of FD frames, bytes (ISO 11898-1).
const FD_LENGTHS: [u8; 16] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];

#[cfg(test)]
mod tests {
    use twotrip_can::CanId;

    use super::*;

    #[test]
    fn frames_survive_the_kernels_layout() {
        let id = CanId::Extended(0x18DA_F110);
        let classic = [
            Frame::new(CanId::Standard(0x7E8), &[1, 2, 3]),
            Frame::remote(id, 5),
            Some(Frame::error(0x40, [0, 1, 2, 3, 4, 5, 6, 7])),
        ];
        for frame in classic.into_iter().flatten() {
            let mut bytes = to_kernel(record::encode(&frame));
            bytes[5] = 0xFF;
            bytes[CLASSIC_LEN..].fill(0xA5);
            assert_eq!(
                from_kernel(bytes, CLASSIC_LEN),
                Some(frame),
                "what is not sent is not read"
            );
        }
        let fd = Frame::fd(id, &[7; 12], true, false).expect("fits");
        assert_eq!(from_kernel(to_kernel(record::encode(&fd)), FRAME_LEN), Some(fd));
    }

    #[test]
    fn what_no_wire_carries_is_made_right_or_refused() {
        let odd = Frame::fd(CanId::Standard(1), &[7; 11], false, false).expect("fits");
        let received = from_kernel(to_kernel(record::encode(&odd)), FRAME_LEN).expect("filled up");
        assert_eq!(received.data(), [7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 0]);
        let mut wide = [0; FRAME_LEN];
        wide[..4].copy_from_slice(&0x800_u32.to_ne_bytes());
        assert_eq!(from_kernel(wide, CLASSIC_LEN), None, "12 bits marked as 11");
        assert_eq!(from_kernel([0; FRAME_LEN], 20), None, "neither size");
        let mut long = [0; FRAME_LEN];
        long[4] = 255;
        assert_eq!(from_kernel(long, FRAME_LEN), None);
        assert_eq!(from_kernel(long, CLASSIC_LEN), None);
    }
}
