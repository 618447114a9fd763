//! Buses: where frames come from and go to.
//!
//! - [`Name`]: `vcan0` or `local:NAME`, as a user gives it.
//! - [`Bus`]: an open bus, whichever it is.
//! - [`local`]: the embedded bus, and its format for programs in other languages.
//!
//! A backend moves frames and reports errors; it knows nothing of time or arbitration.

mod error;
mod filter;
mod interface;
pub mod local;
mod name;
mod socket_can;

use std::time::SystemTime;

use twotrip_can::Frame;

pub use error::{BusError, Names};
pub use filter::{Filter, FilterError, Selection};
pub use name::{INTERFACE_NAME_MAX, LOCAL_NAME_MAX, Name, NameError};

use crate::runtime_dir::RuntimeDir;

/// A frame that came from the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Received {
    /// The frame.
    pub frame: Frame,
    /// Where it was sent.
    pub origin: Origin,
}

impl Received {
    /// A frame of which nothing else is known.
    const fn plain(frame: Frame) -> Self {
        Self {
            frame,
            origin: Origin::Wire,
        }
    }
}

/// Where a frame was sent, as far as the bus tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// By a node on the wire; on an embedded bus, by another client.
    Wire,
    /// By another program on this computer, through the same interface.
    ThisComputer,
}

/// Who notes when a frame came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Noted {
    /// The kernel, of every frame of others.
    ByKernel,
    /// Its sender, if it wants to.
    BySender,
    /// Nobody.
    ByNobody,
}

/// What a bus notes of a frame besides its bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Detail {
    /// When it came in, by the real-time clock.
    pub at: Option<SystemTime>,
    /// Frames for this socket that the kernel has had to drop so far because nobody read them.
    pub dropped: u32,
}

impl Detail {
    /// When it came in, nanoseconds since 1970; now, where nobody noted it.
    #[must_use]
    pub fn unix_nanos(self) -> u64 {
        let at = self.at.unwrap_or_else(SystemTime::now);
        let since = at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        u64::try_from(since.as_nanos()).unwrap_or(u64::MAX)
    }
}

/// What a bus reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BusEvent {
    /// A frame of another node, or an error message frame of the controller.
    Frame(Received),
    /// The oldest of the frames for which [`Bus::try_send`] said [`Sent::Queued`] has passed on the wire.
    Passed(Received),
    /// The interface went down. Frames come again once it is up, without anything to be done here.
    Down,
    /// A hosted embedded bus did not let a client in, or did not let it stay.
    TurnedAway(local::TurnedAway),
}

/// What became of a frame handed to the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub enum Sent {
    /// The bus has it.
    Handed,
    /// The bus has it and says [`BusEvent::Passed`] once it has passed: see [`Bus::want_confirmation`].
    Queued,
    /// No room: the caller keeps the frame and tries again after [`Bus::writable`], before any later frame.
    Later,
    /// The interface is down and the frame is lost, as it is with a controller that is switched off.
    Down,
}

/// An open bus. Own frames do not come back from it, all others do, in order.
///
/// Must be made and used within a tokio runtime with IO and time enabled.
#[derive(Debug)]
pub struct Bus {
    backend: Backend,
}

#[derive(Debug)]
enum Backend {
    SocketCan(socket_can::SocketCan),
    Host(local::Host),
    Guest(local::Guest),
}

impl Bus {
    /// Opens a bus for a car. An embedded bus is hosted by it: it begins and ends with the returned value.
    ///
    /// # Errors
    /// [`BusError`] says what is missing and what to type.
    pub fn host(name: &Name) -> Result<Self, BusError> {
        let backend = match name {
            Name::Interface(interface) => Backend::SocketCan(socket_can::SocketCan::open(interface, false)?),
            Name::Local(name) => Backend::Host(local::Host::bind(name, &RuntimeDir::of_user()?)?),
        };
        Ok(Self { backend })
    }

    /// Opens a bus for anybody else: a tester, a recorder. An embedded bus must have its car already.
    ///
    /// # Errors
    /// [`BusError`] says what is missing and what to type.
    pub async fn join(name: &Name) -> Result<Self, BusError> {
        let backend = match name {
            Name::Interface(interface) => Backend::SocketCan(socket_can::SocketCan::open(interface, false)?),
            Name::Local(name) => Backend::Guest(local::Guest::join(name, &RuntimeDir::of_user()?).await?),
        };
        Ok(Self { backend })
    }

    /// Opens a bus only to listen, one with a wire behind it too: nothing must be sent on it.
    ///
    /// # Errors
    /// [`BusError`] says what is missing and what to type.
    pub async fn listen(name: &Name) -> Result<Self, BusError> {
        match name {
            Name::Interface(interface) => Ok(Self {
                backend: Backend::SocketCan(socket_can::SocketCan::open(interface, true)?),
            }),
            Name::Local(_) => Self::join(name).await,
        }
    }

    /// Its bit rate, bit/s, where the kernel knows one.
    #[must_use]
    pub const fn bit_rate(&self) -> Option<u32> {
        match &self.backend {
            Backend::SocketCan(bus) => bus.bit_rate(),
            Backend::Host(_) | Backend::Guest(_) => None,
        }
    }

    /// Opens an interface that may have a wire behind it: the user's word is that no vehicle is connected to it.
    ///
    /// # Errors
    /// [`BusError`] says what is missing and what to type; an embedded bus is refused.
    pub fn on_a_bench(name: &Name) -> Result<Self, BusError> {
        match name {
            Name::Interface(interface) => Ok(Self {
                backend: Backend::SocketCan(socket_can::SocketCan::open(interface, true)?),
            }),
            Name::Local(_) => Err(BusError::NoBench {
                bus: name.to_string(),
            }),
        }
    }

    /// Whether the bus takes its time for each frame, as a wire does.
    #[must_use]
    pub const fn is_paced(&self) -> bool {
        match &self.backend {
            Backend::SocketCan(bus) => bus.is_physical(),
            Backend::Host(_) | Backend::Guest(_) => false,
        }
    }

    /// What the kernel noted of the frame last returned, where [`Self::want_detail`] asked for it; on an embedded bus what its
    /// sender says, to the car.
    #[must_use]
    pub fn detail(&self) -> Option<Detail> {
        match &self.backend {
            Backend::SocketCan(bus) => bus.detail(),
            Backend::Host(bus) => bus.sent().map(|at| Detail {
                at: Some(at),
                ..Detail::default()
            }),
            Backend::Guest(_) => None,
        }
    }

    /// From now on each frame has a [`Detail`], and far more frames may wait unread. For recorders and
    /// whoever measures; it costs some time with each frame.
    ///
    /// # Errors
    /// [`BusError::System`] if the kernel refuses.
    pub fn want_detail(&mut self) -> Result<(), BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.want_detail(),
            // Frames are read as they come; there is no kernel to note anything.
            Backend::Host(_) | Backend::Guest(_) => Ok(()),
        }
    }

    /// From now on each frame has the kernel's time in its [`Detail`], and no losses; it costs less with each frame than
    /// [`Self::want_detail`]. Says who notes times.
    ///
    /// # Errors
    /// [`BusError::System`] if the kernel refuses.
    pub fn want_times(&mut self) -> Result<Noted, BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.want_times().map(|()| Noted::ByKernel),
            Backend::Host(_) => Ok(Noted::BySender),
            Backend::Guest(_) => Ok(Noted::ByNobody),
        }
    }

    /// From now on a frame counts as sent when it has passed on the wire, not when a queue has taken it:
    /// [`Self::try_send`] then says [`Sent::Queued`] where the interface can tell the two apart.
    ///
    /// # Errors
    /// [`BusError::System`] if the kernel refuses.
    pub fn want_confirmation(&mut self) -> Result<(), BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.want_confirmation(),
            Backend::Host(_) | Backend::Guest(_) => Ok(()),
        }
    }

    /// Lets only frames through that pass one of `filters` (none: nothing passes). Frames that arrived before
    /// may still come. Error frames are not filtered.
    ///
    /// # Errors
    /// [`BusError::System`] if the kernel refuses them (more than 512).
    pub fn set_filters(&mut self, filters: &[Filter]) -> Result<(), BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => return bus.set_filters(filters),
            Backend::Host(bus) => bus.set_filters(filters),
            Backend::Guest(bus) => bus.set_filters(filters),
        }
        Ok(())
    }

    /// The next event. Cancel safe: nothing is lost if the future is dropped.
    ///
    /// # Errors
    /// [`BusError`] if the bus is gone for good.
    pub async fn recv(&mut self) -> Result<BusEvent, BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.recv().await,
            Backend::Host(bus) => bus.recv().await,
            Backend::Guest(bus) => bus.recv().await,
        }
    }

    /// An event that has been read already, without waiting and without a system call.
    pub fn take_read(&mut self) -> Option<BusEvent> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.take_read(),
            Backend::Host(bus) => bus.take_read(),
            Backend::Guest(bus) => bus.take_read(),
        }
    }

    /// Waits for the next event, a few milliseconds at the most, with the whole thread. For whoever expects the next
    /// question, or flow control, right after a frame of its own: it costs one system call, where [`Self::recv`] costs two and the runtime's turn.
    /// Where that cannot be had, and when nothing comes: `None`.
    ///
    /// # Errors
    /// As [`Self::recv`].
    pub fn recv_soon(&mut self) -> Result<Option<BusEvent>, BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.recv_soon(),
            Backend::Host(_) | Backend::Guest(_) => Ok(None),
        }
    }

    /// Hands a frame to the bus; never waits.
    ///
    /// # Errors
    /// [`BusError`] if the bus is gone for good, or cannot carry this kind of frame.
    pub fn try_send(&mut self, frame: &Frame) -> Result<Sent, BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.try_send(frame),
            Backend::Host(bus) => {
                bus.send(frame);
                Ok(Sent::Handed)
            }
            Backend::Guest(bus) => bus.try_send(frame),
        }
    }

    /// Waits, after [`Sent::Later`], until another try makes sense. Cancel safe.
    ///
    /// # Errors
    /// [`BusError`] if the bus is gone for good.
    pub async fn writable(&mut self) -> Result<(), BusError> {
        match &mut self.backend {
            Backend::SocketCan(bus) => bus.writable().await,
            Backend::Host(_) => Ok(()),
            Backend::Guest(bus) => bus.writable().await,
        }
    }

    /// Sends a frame, waiting for room where needed. Not cancel safe in that the frame may or may not be sent.
    ///
    /// # Errors
    /// As [`Self::try_send`].
    pub async fn send(&mut self, frame: &Frame) -> Result<Sent, BusError> {
        loop {
            match self.try_send(frame)? {
                Sent::Later => self.writable().await?,
                sent => return Ok(sent),
            }
        }
    }

    /// Clients of an embedded bus that is hosted here; `None` of any other bus.
    #[must_use]
    pub fn clients(&self) -> Option<usize> {
        match &self.backend {
            Backend::Host(bus) => Some(bus.clients()),
            Backend::SocketCan(_) | Backend::Guest(_) => None,
        }
    }

    /// Whether frames wait in this process for a stream to take them; [`Self::recv`] moves them on.
    #[must_use]
    pub fn is_sending(&self) -> bool {
        match &self.backend {
            Backend::SocketCan(_) => false,
            Backend::Host(bus) => bus.is_sending(),
            Backend::Guest(bus) => bus.is_sending(),
        }
    }

    /// Frames for this node that the kernel has had to drop because they were not read in time; asked of the kernel by
    /// each call. `None` where it does not count them.
    #[must_use]
    pub fn dropped(&self) -> Option<u32> {
        match &self.backend {
            Backend::SocketCan(bus) => bus.dropped(),
            Backend::Host(_) | Backend::Guest(_) => None,
        }
    }

    /// Frames that were lost on the way to or from this node, for reports: malformed ones, and on an embedded bus
    /// those that a slow client did not take.
    #[must_use]
    pub const fn lost(&self) -> u64 {
        match &self.backend {
            Backend::SocketCan(bus) => bus.malformed(),
            Backend::Host(bus) => bus.dropped(),
            Backend::Guest(_) => 0,
        }
    }
}
