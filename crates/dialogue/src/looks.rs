//! How requests look: what fills their frames up, or that nothing does. One tester does it in one way; by turns two ways on
//! one identifier are a sign of two testers. Who leaves bytes of earlier messages in its frames has no look at all.

use twotrip_can::Frame;
use twotrip_isotp::Pdu;

use crate::{Breach, Role, conversation::FRAME_BYTES};

/// Changes from one look to the other and back after which they are two testers': A, B, A, B. Our choice.
const CHANGES: u8 = 3;

/// Bytes that nobody leaves over by chance.
const LEAST: usize = 2;

/// What fills a frame up; nothing: it is short.
type Look = Option<u8>;

#[derive(Clone, Copy, Debug, Default)]
enum State {
    #[default]
    Nothing,
    /// The first look, the other, whether the other was last, and how often it has changed.
    Seen(Look, Option<Look>, bool, u8),
    /// Told, or there are more than two.
    Done,
}

/// Of the identifiers of testers: to all and to one, of 11 bits and of 29.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Looks([State; 4]);

impl Looks {
    /// A request of one frame. Says once that there are two looks.
    pub(crate) fn on_frame(&mut self, role: Role, frame: &Frame, pdu: &Pdu) -> Option<Breach> {
        let Pdu::SingleFrame { payload } = pdu else {
            return None;
        };
        let look = look(frame, payload.as_slice())?;
        let place = usize::from(role.is_extended()) * 2 + usize::from(matches!(role, Role::Ask(_)));
        let state = &mut self.0[place];
        match state {
            State::Done => {}
            State::Nothing => *state = State::Seen(look, None, false, 0),
            State::Seen(one, other, is_other, changes) => {
                let now_other = if look == *one {
                    false
                } else if *other.get_or_insert(look) == look {
                    true
                } else {
                    *state = State::Done;
                    return None;
                };
                if now_other != *is_other {
                    (*is_other, *changes) = (now_other, *changes + 1);
                }
                if *changes == CHANGES {
                    let looks = [*one, other.unwrap_or(look)];
                    *state = State::Done;
                    return Some(Breach::TwoLooks(looks));
                }
            }
        }
        None
    }
}

fn look(frame: &Frame, message: &[u8]) -> Option<Look> {
    // Service $3E is sent beside requests, often by another part of a tool.
    if message.first() == Some(&0x3E) {
        return None;
    }
    let fill = frame.data().get(1 + message.len()..)?;
    match fill {
        [] if frame.len() < FRAME_BYTES => Some(None),
        [pad, ..] if fill.len() >= LEAST && fill.iter().all(|byte| byte == pad) => Some(Some(*pad)),
        _ => None,
    }
}
