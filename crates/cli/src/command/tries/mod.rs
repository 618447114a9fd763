//! `twotrip try`: a user's own tool against a car each, several at a time, and both judged.
//!
//! Each car lives through its story in a thread of its own, is put on a bus of its own, and is recorded; the tool is started
//! beside it. Results come in the order in which the cars were named, however many run at a time.

mod cases;
mod codes;
mod page;
mod plan;
mod report;
mod shrink;
mod told;
mod trial;

use std::{
    collections::{BTreeSet, HashSet},
    fs::{self, DirBuilder},
    io::ErrorKind,
    os::unix::fs::DirBuilderExt as _,
    path::{Path, PathBuf},
    process,
    sync::atomic::{AtomicBool, AtomicUsize, Ordering},
    thread,
    time::Instant,
};

use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use twotrip_host::bus::Name;

use self::{
    plan::Trial,
    told::{Car, Summary},
    trial::{Found, OUTPUT, RECORDING},
};
use crate::{args, command::words, exit::Failure, output};

/// Runs the command.
pub(super) fn run(args: &args::Try) -> Result<(), Failure> {
    for path in &args.report {
        crate::report::Format::of(path)?;
        crate::report::prepare(path)?;
    }
    let lanes = lanes(args)?;
    let trials = plan::trials(args)?;
    let folder = Folder::open(args)?;
    let work = Work {
        args,
        folders: folders(&folder.0, &trials),
        trials: &trials,
        next: AtomicUsize::new(0),
        stop: AtomicBool::new(false),
    };
    let begun = Instant::now();
    let mut desk = Desk::new(&work);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let stopped = {
        let _inside = runtime.enter();
        words::stopped()?
    };
    thread::scope(|scope| {
        let (sender, news) = unbounded_channel();
        for lane in lanes.into_iter().take(trials.len()) {
            let sender = sender.clone();
            scope.spawn(|| work.work(lane, sender));
        }
        drop(sender);
        let listened = runtime.block_on(desk.listen(news, stopped));
        // Nobody reads the results any more: no further car is begun.
        work.stop.store(true, Ordering::Relaxed);
        listened
    })?;
    output::progress("");
    let summary = Summary {
        cars: trials.len(),
        passed: desk.passed,
        failed: desk.failed,
        left: trials.len() - desk.passed - desk.failed,
        seconds: (begun.elapsed().as_secs_f64() * 1e3).round() / 1e3,
    };
    summary.say(args.json)?;
    let cars: Vec<Car> = desk.cars.into_iter().flatten().collect();
    for path in &args.report {
        report::write(path, &cars, &summary)?;
    }
    folder.let_go();
    match desk.trouble {
        Some(trouble) => Err(trouble),
        None if summary.failed > 0 => Err(Failure::NotMet),
        None if summary.left > 0 => Err(Failure::system("stopped before all cars were tried", None)),
        None => Ok(()),
    }
}

/// Where the next car of a thread goes.
#[derive(Clone, Debug)]
enum Lane {
    /// On an embedded bus of its own.
    Own,
    /// On this one.
    Bus(Name),
}

/// One for each car that is tried at a time.
fn lanes(args: &args::Try) -> Result<Vec<Lane>, Failure> {
    let mut buses = Vec::new();
    let mut seen = HashSet::new();
    for text in &args.bus {
        let name: Name = text
            .parse()
            .map_err(|error| Failure::input(format!("--bus: {error}"), None))?;
        if !seen.insert(name.to_string()) {
            return Err(Failure::input(format!("--bus: `{name}` is there twice"), None));
        }
        buses.push(Lane::Bus(name));
    }
    let processors = thread::available_parallelism().map_or(1, usize::from);
    match (args.jobs.map(usize::from), buses.len()) {
        (jobs, 0) => Ok(vec![Lane::Own; jobs.unwrap_or(processors)]),
        (Some(jobs), count) if jobs > count => Err(Failure::input(
            format!("--jobs {jobs} needs as many buses, and {count} are there"),
            Some("one car at a time has a bus: repeat --bus, or leave it out for embedded ones".to_owned()),
        )),
        (jobs, count) => {
            buses.truncate(jobs.unwrap_or(count));
            Ok(buses)
        }
    }
}

/// The folder of all that is kept.
struct Folder(PathBuf);

impl Folder {
    fn open(args: &args::Try) -> Result<Self, Failure> {
        let cannot = |path: &Path, error: std::io::Error| {
            Failure::system(
                format!("cannot make the folder `{}`: {error}", path.display()),
                None,
            )
        };
        if let Some(path) = &args.keep {
            fs::create_dir_all(path).map_err(|error| cannot(path, error))?;
            return Ok(Self(path.clone()));
        }
        let named = std::env::temp_dir().join(format!("twotrip-try-{}", process::id()));
        let mut path = named.clone();
        for more in 2..100 {
            match DirBuilder::new().mode(0o700).create(&path) {
                Ok(()) => return Ok(Self(path)),
                Err(error) if error.kind() == ErrorKind::AlreadyExists => {
                    path = named.with_extension(more.to_string());
                }
                Err(error) => return Err(cannot(&path, error)),
            }
        }
        Err(cannot(&named, ErrorKind::AlreadyExists.into()))
    }

    /// It goes if nothing is in it.
    fn let_go(&self) {
        let _ = fs::remove_dir(&self.0);
    }
}

/// A folder for each car.
fn folders(base: &Path, trials: &[Trial]) -> Vec<PathBuf> {
    let mut taken = BTreeSet::new();
    let name = |trial: &Trial| {
        let slug = trial.slug();
        if taken.insert(slug.clone()) {
            return base.join(slug);
        }
        let more = format!("{slug}-{}", trial.number);
        taken.insert(more.clone());
        base.join(more)
    };
    trials.iter().map(name).collect()
}

/// All cars, and how far they are.
struct Work<'a> {
    args: &'a args::Try,
    trials: &'a [Trial],
    folders: Vec<PathBuf>,
    next: AtomicUsize,
    stop: AtomicBool,
}

/// What a thread tells, of the car with this place.
enum News {
    Began(usize),
    /// The story may be shorter.
    Shrinks(usize),
    Done(usize, Box<Result<Option<Car>, Failure>>),
}

impl Work<'_> {
    /// Tries one car after the other.
    fn work(&self, lane: Lane, sender: UnboundedSender<News>) {
        while !self.stop.load(Ordering::Relaxed) {
            let place = self.next.fetch_add(1, Ordering::Relaxed);
            let (Some(trial), Some(folder)) = (self.trials.get(place), self.folders.get(place)) else {
                return;
            };
            // Whoever listens does so to the end.
            let _ = sender.send(News::Began(place));
            let done = self.one(&lane, trial, folder, || {
                let _ = sender.send(News::Shrinks(place));
            });
            let _ = sender.send(News::Done(place, Box::new(done)));
        }
    }

    fn one(
        &self,
        lane: &Lane,
        trial: &Trial,
        folder: &Path,
        shrinks: impl FnOnce(),
    ) -> Result<Option<Car>, Failure> {
        let bus = match lane {
            Lane::Bus(name) => name.clone(),
            Lane::Own => Name::Local(format!("try-{}-{}", process::id(), trial.number)),
        };
        let Some(found) = trial::run(self.args, trial, &bus, folder, &self.stop)? else {
            return Ok(None);
        };
        let passed = found.passed();
        let mut shorter = None;
        if !passed && self.args.shrink {
            shrinks();
            shorter = shrink::search(self.args, trial, &bus, &found, &self.stop)?;
        }
        let is_kept = !passed || self.args.keep_all;
        if !is_kept {
            forget(&found);
        }
        Ok(Some(Car::new(self.args, trial, found, is_kept, shorter)))
    }
}

/// Removes what we have put into the folder of a car. What the tool has put there stays.
fn forget(found: &Found) {
    for name in [RECORDING, OUTPUT] {
        let _ = fs::remove_file(found.folder.join(name));
    }
    let _ = fs::remove_dir(&found.folder);
}

/// Where all news come together.
struct Desk<'a> {
    work: &'a Work<'a>,
    /// What came of the cars, in their order; nothing yet, or nothing any more.
    cars: Vec<Option<Car>>,
    done: Vec<bool>,
    /// Cars that have been told of.
    told: usize,
    /// Cars under way, and whether their stories are being shortened.
    running: Vec<(usize, bool)>,
    passed: usize,
    failed: usize,
    trouble: Option<Failure>,
}

impl<'a> Desk<'a> {
    fn new(work: &'a Work<'a>) -> Self {
        let count = work.trials.len();
        Self {
            work,
            cars: (0..count).map(|_| None).collect(),
            done: vec![false; count],
            told: 0,
            running: Vec::new(),
            passed: 0,
            failed: 0,
            trouble: None,
        }
    }

    /// Takes the news until the last thread has ended.
    async fn listen(
        &mut self,
        mut news: UnboundedReceiver<News>,
        stopped: impl Future<Output = ()>,
    ) -> Result<(), Failure> {
        let mut stopped = std::pin::pin!(stopped);
        loop {
            tokio::select! {
                next = news.recv() => match next {
                    Some(next) => self.take(next)?,
                    None => return Ok(()),
                },
                () = &mut stopped, if !self.work.stop.load(Ordering::Relaxed) => self.stop(),
            }
        }
    }

    fn stop(&self) {
        self.work.stop.store(true, Ordering::Relaxed);
    }

    fn take(&mut self, news: News) -> Result<(), Failure> {
        match news {
            News::Began(place) => self.running.push((place, false)),
            News::Shrinks(place) => {
                for (running, shrinks) in &mut self.running {
                    *shrinks |= *running == place;
                }
            }
            News::Done(place, done) => {
                self.running.retain(|(running, _)| *running != place);
                self.done[place] = true;
                match *done {
                    Ok(Some(car)) => {
                        *if car.passed {
                            &mut self.passed
                        } else {
                            &mut self.failed
                        } += 1;
                        self.cars[place] = Some(car);
                    }
                    Ok(None) => {}
                    Err(trouble) => {
                        self.stop();
                        self.trouble.get_or_insert(trouble);
                    }
                }
                self.tell_next()?;
            }
        }
        self.show_progress();
        Ok(())
    }

    /// Tells of the cars that are next.
    fn tell_next(&mut self) -> Result<(), Failure> {
        while self.done.get(self.told) == Some(&true) {
            if let Some(car) = &self.cars[self.told] {
                output::progress("");
                car.say(self.work.args.json)?;
            }
            self.told += 1;
        }
        Ok(())
    }

    fn show_progress(&self) {
        let names: Vec<String> = self
            .running
            .iter()
            .map(|(place, shrinks)| {
                let trial = &self.work.trials[*place];
                let doing = if *shrinks {
                    ", looking for a shorter story"
                } else {
                    ""
                };
                format!("{} seed {}{doing}", trial.name, trial.seed)
            })
            .collect();
        output::progress(&format!(
            "{} of {}, {} failed; {}",
            self.passed + self.failed,
            self.work.trials.len(),
            self.failed,
            names.join("; ")
        ));
    }
}
