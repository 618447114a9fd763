//! Many cars in one process, in real time, each on an in-memory bus of its own: for a tool that keeps its own time, and for many of
//! them at once.
//!
//! ```text
//! Plug::send ──> the car, brought up to now ──> when it is due next ──┐
//!                   ^                                                 v
//! Plug::receive <── what it sends <── a few threads, each with a list of what is due when
//! ```
//!
//! A car costs nothing while it has nothing to do: no thread, no timer of its own, no steps. The time that it has stood since somebody
//! last looked passes at once when somebody does, at the latest after half a second, so that a request never waits for much of it. A thread
//! that comes late makes a frame late for the tool; on the car's bus it stays at its instant.

mod list;
#[cfg(test)]
mod tests;

use std::{
    io,
    num::NonZeroUsize,
    sync::{
        Arc, Mutex, MutexGuard, PoisonError, TryLockError,
        mpsc::{Receiver, SyncSender, TrySendError, sync_channel},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant as WallInstant},
};

use twotrip::{Car, Error, Frame, Instant, Wired};

use self::list::List;

/// How often a car is brought up to date when nobody asks.
const TICK: Duration = Duration::from_millis(500);
/// When a car is looked at again that somebody held.
const HELD: Duration = Duration::from_millis(1);
/// Frames that wait for a tool at the least, and for each car more; what comes beyond is lost to it, as in the kernel.
const ROOM: usize = 1024;
const ROOM_A_CAR: usize = 8;

/// A frame for a tool: the number of the car that sent it, and the frame, its instant counted from the opening of the yard.
pub type Heard = (usize, Wired);

/// Cars in real time.
///
/// ```
/// use std::{num::NonZeroUsize, time::Duration};
/// use twotrip::{Builder, CanId, Frame};
/// use twotrip_host::yard::Yard;
///
/// let car = Builder::of_vehicle("compact-2.0")?.story("key on")?.build()?;
/// let yard = Yard::open(vec![car; 3], NonZeroUsize::MIN)?;
/// let plug = yard.plug_into([2]);
/// plug.send(2, Frame::padded(CanId::Standard(0x7DF), &[1, 0x03], 0))?;
/// let (car, wired) = plug.receive(Duration::from_secs(5)).expect("some milliseconds later");
/// assert_eq!((car, wired.frame), (2, Frame::padded(CanId::Standard(0x7E8), &[2, 0x43, 0], 0)));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Yard {
    inner: Arc<Inner>,
    threads: Vec<JoinHandle<()>>,
}

/// A tool's end of the buses of one car or of several.
#[derive(Debug)]
pub struct Plug {
    inner: Arc<Inner>,
    heard: Receiver<Heard>,
}

#[derive(Debug)]
struct Inner {
    begun: WallInstant,
    places: Vec<Mutex<Place>>,
    /// One a thread; a car's is that of its number modulo their number.
    lists: Vec<List>,
}

/// A car where it stands.
#[derive(Debug)]
struct Place {
    car: Car,
    /// How much further its bus is than the yard's clock.
    ahead: Duration,
    listeners: Vec<SyncSender<Heard>>,
    /// When the list has it, if that is yet to come.
    listed: Instant,
}

impl Yard {
    /// Puts cars into real time, which begins now, on so many threads: some thousand cars each.
    ///
    /// # Errors
    /// What the system says if it has no threads.
    pub fn open(cars: impl IntoIterator<Item = Car>, threads: NonZeroUsize) -> io::Result<Self> {
        let place = |car: Car| {
            Mutex::new(Place {
                ahead: car.now().saturating_since(Instant::ZERO),
                car,
                listeners: Vec::new(),
                listed: Instant::ZERO,
            })
        };
        let places: Vec<_> = cars.into_iter().map(place).collect();
        let inner = Arc::new(Inner {
            begun: WallInstant::now(),
            lists: (0..threads.get()).map(|_| List::default()).collect(),
            places,
        });
        for number in 0..inner.places.len() {
            // Not all in the same millisecond.
            let share = u32::try_from(number % 500).unwrap_or(0);
            inner.list(number, Instant::ZERO + TICK * share / 500);
        }
        let mut yard = Self {
            inner,
            threads: Vec::new(),
        };
        for place in 0..threads.get() {
            let inner = Arc::clone(&yard.inner);
            let thread = thread::Builder::new().name(format!("yard-{place}"));
            yard.threads.push(thread.spawn(move || inner.serve(place))?);
        }
        Ok(yard)
    }

    /// How many cars there are.
    #[must_use]
    pub fn cars(&self) -> usize {
        self.inner.places.len()
    }

    /// Time since the yard was opened: that of [`Wired::at`] in what is heard.
    #[must_use]
    pub fn now(&self) -> Instant {
        self.inner.now()
    }

    /// Does something to a car, or looks at it; phrases that take the car's time take none of the yard's.
    ///
    /// # Panics
    /// If there is no car of this number.
    pub fn with<T>(&self, number: usize, deed: impl FnOnce(&mut Car) -> T) -> T {
        self.inner.with(number, |place| deed(&mut place.car))
    }

    /// A tool's place on the buses of these cars: it hears what they send from now on.
    ///
    /// # Panics
    /// If there is no car of one of these numbers.
    #[must_use]
    pub fn plug_into(&self, cars: impl IntoIterator<Item = usize>) -> Plug {
        let cars: Vec<usize> = cars.into_iter().collect();
        let (tell, heard) = sync_channel(ROOM + ROOM_A_CAR * cars.len());
        for number in cars {
            self.inner
                .with(number, |place| place.listeners.push(tell.clone()));
        }
        Plug {
            inner: Arc::clone(&self.inner),
            heard,
        }
    }
}

impl Drop for Yard {
    fn drop(&mut self) {
        self.inner.lists.iter().for_each(List::close);
        for thread in self.threads.drain(..) {
            // One that has panicked has said so.
            drop(thread.join());
        }
    }
}

impl Plug {
    /// Puts a frame on the bus of a car.
    ///
    /// # Errors
    /// [`Error::BusFull`] if 64 wait there already.
    ///
    /// # Panics
    /// If there is no car of this number.
    pub fn send(&self, number: usize, frame: Frame) -> Result<(), Error> {
        self.inner.with(number, |place| place.car.send(frame))
    }

    /// The next frame of a car, or `None` if there is none within this time, or never will be because the yard is gone.
    #[must_use]
    pub fn receive(&self, within: Duration) -> Option<Heard> {
        self.heard.recv_timeout(within).ok()
    }
}

impl Inner {
    fn now(&self) -> Instant {
        Instant::ZERO + self.begun.elapsed()
    }

    fn list(&self, number: usize, at: Instant) {
        self.lists[number % self.lists.len()].put(at, number);
    }

    /// Does something at a place, between bringing its car up to now and listing when it is due next.
    fn with<T>(&self, number: usize, deed: impl FnOnce(&mut Place) -> T) -> T {
        let mut place = lock(&self.places[number]);
        place.pass(number, self.now());
        let done = deed(&mut place);
        let now = self.now();
        // Who has let time pass is that much ahead from now on.
        let further = place.car.now().saturating_since(Instant::ZERO + place.ahead);
        place.ahead += further.saturating_sub(now.saturating_since(Instant::ZERO));
        place.pass(number, now);
        let due = place.relist(now);
        drop(place);
        if let Some(due) = due {
            self.list(number, due);
        }
        done
    }

    /// What a thread does.
    fn serve(&self, list: usize) {
        let list = &self.lists[list];
        while let Some(number) = list.wait(|| self.now()) {
            let mut place = match self.places[number].try_lock() {
                Ok(place) => place,
                Err(TryLockError::Poisoned(poisoned)) => poisoned.into_inner(),
                // Nobody waits for what somebody does to one car.
                Err(TryLockError::WouldBlock) => {
                    list.put(self.now() + HELD, number);
                    continue;
                }
            };
            let now = self.now();
            if place.listed <= now {
                place.pass(number, now);
                let due = place.relist(now);
                drop(place);
                if let Some(due) = due {
                    list.put(due, number);
                }
            }
        }
    }
}

impl Place {
    /// Brings the car up to now, and tells what it sends.
    fn pass(&mut self, number: usize, now: Instant) {
        let frames = self.car.advance_to(now + self.ahead);
        for mut wired in frames.into_iter().filter(|wired| wired.from_car) {
            wired.at = Instant::ZERO + wired.at.saturating_since(Instant::ZERO + self.ahead);
            self.listeners.retain(|listener| {
                !matches!(
                    listener.try_send((number, wired)),
                    Err(TrySendError::Disconnected(_))
                )
            });
        }
    }

    /// When the car is due next, if the list does not have it that early.
    fn relist(&mut self, now: Instant) -> Option<Instant> {
        let due = self
            .car
            .deadline()
            .map(|at| Instant::ZERO + at.saturating_since(Instant::ZERO + self.ahead));
        let due = due.map_or(now + TICK, |due| due.min(now + TICK));
        (self.listed <= now || due < self.listed).then(|| {
            self.listed = due;
            due
        })
    }
}

/// What has panicked in [`Yard::with`] has told its caller so; the car goes on.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
