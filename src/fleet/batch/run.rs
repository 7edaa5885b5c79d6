//! All wings at once.

use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use rayon::prelude::*;

use super::{BatchError, BatchFailure, BatchJob, CheckChoice, CheckJob};
use crate::check::{Fleet, History};

/// What to do with parts that a folder holds already.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum EarlierParts {
    /// Go on where they end, provided that fleet, settings, part size and version are the same; otherwise refuse.
    #[default]
    Resume,
    /// Remove them and start again.
    Discard,
}

/// How to ask all wings.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `wings_per_part` | 256 | a part takes seconds, and its lines fill a Parquet file of about a megabyte |
/// | `earlier` | [`EarlierParts::Resume`] | an interrupted run is gone on with |
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BatchSpec {
    pub(super) wings_per_part: usize,
    pub(super) earlier: EarlierParts,
}

impl Default for BatchSpec {
    fn default() -> Self {
        Self { wings_per_part: 256, earlier: EarlierParts::default() }
    }
}

/// How far a batch is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BatchProgress {
    /// Wings done.
    pub done: usize,
    /// Of these, wings that were done by an earlier run.
    pub resumed: usize,
    /// Wings to do, those done included.
    pub wings: usize,
}

/// Told after every wing, from any thread; `Break` stops the batch before its next wing.
pub type BatchWatch<'a> = dyn Fn(BatchProgress) -> ControlFlow<()> + Sync + 'a;

/// Hears how far work of several steps is, and may stop it.
pub trait Watch: Sync {
    /// A step begins; `Break` stops the work before it.
    fn step(&self, what: &'static str) -> ControlFlow<()>;

    /// The step goes over so many wings.
    fn count(&self, wings: usize);

    /// A wing is done, told from any thread; `Break` stops the work before the next wing.
    fn wing(&self, at: BatchProgress) -> ControlFlow<()>;
}

/// What the wings of a fleet answered.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch<A> {
    /// Answers, in the fleet's order.
    pub answers: Vec<A>,
    /// Wings that failed, in the fleet's order.
    pub failures: Vec<BatchFailure>,
    /// Wings with nothing to ask of.
    pub without: usize,
}

impl BatchSpec {
    /// Sets how many wings make a part, 1 or more.
    #[must_use]
    pub const fn wings_per_part(mut self, wings: usize) -> Self {
        self.wings_per_part = wings;
        self
    }

    /// Sets what becomes of parts that are there already.
    #[must_use]
    pub const fn earlier(mut self, earlier: EarlierParts) -> Self {
        self.earlier = earlier;
        self
    }

    /// Asks every wing, in parallel; the answers are the same, in the same order, for any number of threads.
    ///
    /// # Errors
    /// [`BatchError::Stopped`] when `watch` says so. A wing that fails is in [`Batch::failures`].
    pub fn run<J: BatchJob>(
        &self,
        fleet: &Fleet,
        job: &J,
        watch: &BatchWatch<'_>,
    ) -> Result<Batch<J::Answer>, BatchError> {
        let wings = fleet.histories().len();
        let counter = Counter::new(wings, 0, watch);
        ask(fleet, job, fleet.histories(), &counter).ok_or_else(|| counter.stopped())
    }

    /// Asks the chosen check or wing, or every wing.
    ///
    /// # Errors
    /// [`BatchError::Choice`] when the fleet does not have it; as [`BatchSpec::run`].
    pub fn run_of<J: CheckJob>(
        &self,
        fleet: &Fleet,
        choice: &CheckChoice,
        job: &J,
        watch: &dyn Watch,
    ) -> Result<Batch<J::Answer>, BatchError> {
        if *choice == CheckChoice::Latest {
            watch.count(fleet.histories().len());
            return self.run(fleet, job, &|at| watch.wing(at));
        }
        let mut batch = Batch { answers: Vec::new(), failures: Vec::new(), without: 0 };
        for one in choice.checks(fleet)? {
            match job.check(fleet, &one) {
                Ok(answer) => batch.answers.push(answer),
                Err(failure) => batch.failures.push(failure),
            }
        }
        Ok(batch)
    }
}

/// Counts wings over threads and tells the watcher.
pub(super) struct Counter<'a> {
    done: AtomicUsize,
    resumed: usize,
    wings: usize,
    stop: AtomicBool,
    watch: &'a BatchWatch<'a>,
}

impl<'a> Counter<'a> {
    pub(super) fn new(wings: usize, resumed: usize, watch: &'a BatchWatch<'a>) -> Self {
        Self { done: AtomicUsize::new(resumed), resumed, wings, stop: AtomicBool::new(false), watch }
    }

    fn one_more(&self) {
        let done = 1 + self.done.fetch_add(1, Ordering::Relaxed);
        let progress = BatchProgress { done, resumed: self.resumed, wings: self.wings };
        if (self.watch)(progress).is_break() {
            self.stop.store(true, Ordering::Relaxed);
        }
    }

    fn must_stop(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    pub(super) fn stopped(&self) -> BatchError {
        BatchError::Stopped { done: self.done.load(Ordering::Relaxed), wings: self.wings }
    }
}

/// Asks some wings. `None`: stopped before the last of them.
pub(super) fn ask<J: BatchJob>(
    fleet: &Fleet,
    job: &J,
    histories: &[History],
    counter: &Counter<'_>,
) -> Option<Batch<J::Answer>> {
    let outcomes: Vec<Option<Result<Option<J::Answer>, BatchFailure>>> = histories
        .par_iter()
        .map(|history| {
            if counter.must_stop() {
                return None;
            }
            let outcome = one(fleet, job, history);
            counter.one_more();
            Some(outcome)
        })
        .collect();
    let mut batch = Batch { answers: Vec::with_capacity(outcomes.len()), failures: Vec::new(), without: 0 };
    for outcome in outcomes {
        match outcome? {
            Ok(Some(answer)) => batch.answers.push(answer),
            Ok(None) => batch.without += 1,
            Err(failure) => batch.failures.push(failure),
        }
    }
    Some(batch)
}

/// One wing; a fault of the program itself must not take the others down either.
fn one<J: BatchJob>(fleet: &Fleet, job: &J, history: &History) -> Result<Option<J::Answer>, BatchFailure> {
    catch_unwind(AssertUnwindSafe(|| job.wing(fleet, history))).unwrap_or_else(|_| {
        let why = "a fault of the program, please report it with this wing's tables";
        Err(BatchFailure::of_wing(&history.wing.id, &why))
    })
}
