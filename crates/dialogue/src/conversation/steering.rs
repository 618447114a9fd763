//! Flow control: whom it is for, and whether anybody waits for it.

use twotrip_can::{CanId, Frame};
use twotrip_isotp::{FlowStatus, StMin};
use twotrip_units::BusInstant;

use super::Dialogue;
use crate::{
    Breach, Role,
    assembly::{Assembly, Steered},
    few::Few,
};

/// Who steers what is sent in a role.
pub(super) const fn receiver(role: Role) -> Option<Role> {
    match role {
        Role::Ask(ecu) => Some(Role::Answer(ecu)),
        Role::Answer(ecu) => Some(Role::Ask(ecu)),
        Role::AskAll { .. } => None,
    }
}

/// Whose breach it is that what is sent in this role did not come whole.
pub(super) fn owed_by(sender: Role, breach: &Breach) -> Role {
    match breach {
        Breach::MissingFlowControl { .. } => receiver(sender).unwrap_or(sender),
        _ => sender,
    }
}

/// A flow control of this role: it steers the other direction.
pub(super) fn steer(
    assemblies: &mut Few<Role, Assembly>,
    at: BusInstant,
    role: Role,
    control: (FlowStatus, u8, StMin),
    breach: &mut impl FnMut(Breach),
) {
    let assembly = receiver(role).and_then(|other| assemblies.get_mut(other));
    let steered = assembly.map_or(Steered::Nobody, |assembly| {
        assembly.on_flow_control(at, control, role.is_testers(), breach)
    });
    match steered {
        Steered::Awaited => {}
        Steered::Released if role.is_testers() => breach(Breach::SecondFlowControl),
        Steered::Released => breach(Breach::StrayFlowControl),
        Steered::Nobody => breach(astray(assemblies, role)),
    }
}

/// A flow control that nobody waits for who can take it: there may be somebody whom it was meant for.
fn astray(assemblies: &mut Few<Role, Assembly>, role: Role) -> Breach {
    let waiting = |(sender, assembly): &&mut (Role, Assembly)| {
        matches!(sender, Role::Answer(_))
            && role.is_testers()
            && sender.is_extended() == role.is_extended()
            && assembly.is_waiting()
    };
    let Some((Role::Answer(ecu), assembly)) = assemblies.iter_mut().find(waiting) else {
        return Breach::StrayFlowControl;
    };
    assembly.misdirect();
    match role {
        Role::AskAll { .. } => Breach::FlowControlToAll,
        Role::Ask(_) | Role::Answer(_) => Breach::FlowControlToAnother(*ecu),
    }
}

impl Dialogue {
    /// A frame that has no role: it may be one of a tester with another address than F1, in the form of ISO 15765-4 for 29 bits.
    pub(super) fn on_other(&mut self, number: u64, at: BusInstant, frame: &Frame) {
        let CanId::Extended(raw) = frame.id() else {
            return;
        };
        let [kind, form, target, source] = raw.to_be_bytes();
        let all = Role::AskAll { extended: true };
        let role = match (kind, form, target) {
            (0x18, 0xDB, 0x33) => all,
            (0x18, 0xDA, target) => {
                let asked = Role::of(CanId::Extended(0x18DA_00F1 | u32::from(target) << 8));
                match asked {
                    Some(Role::Ask(ecu)) if self.known.keys().any(|known| known == ecu) => Role::Ask(ecu),
                    _ => return,
                }
            }
            _ => return,
        };
        self.last_frame = number;
        self.breach(number, at, role, Breach::TesterAddress(source));
    }
}
