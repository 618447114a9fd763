//! The two dialects of on-board diagnostics on CAN. All ECUs of a vehicle speak the same one.

/// In which services an ECU is asked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Dialect {
    /// SAE J1979: services $01 to $0A.
    #[default]
    Classic,
    /// SAE J1979-2, OBD on UDS: the services of ISO 14229-1 that [`uds`](crate::uds) reads.
    OnUds,
}

impl Dialect {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Classic, Self::OnUds];

    /// The name in files, after the standard.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Classic => "j1979",
            Self::OnUds => "j1979-2",
        }
    }

    /// The one of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|dialect| dialect.name() == name)
    }
}
