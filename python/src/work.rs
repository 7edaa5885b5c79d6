//! Long work beside the interpreter: the lock is free meanwhile, progress is called, Ctrl-C stops.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use linedrift::fleet::batch::{BatchProgress, Watch};
use pyo3::prelude::*;

use crate::failure::Failure;

/// How often signals are looked for.
const TICK: Duration = Duration::from_millis(50);
/// Stack of the working thread.
const STACK_BYTES: usize = 16 << 20;

/// How far the work is.
#[derive(Default)]
pub(crate) struct State {
    stop: AtomicBool,
    step: Mutex<&'static str>,
    done: AtomicUsize,
    wings: AtomicUsize,
}

impl State {
    fn flow(&self) -> ControlFlow<()> {
        if self.stop.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }

    /// Begins a step, unless the work is to stop.
    pub(crate) fn begin(&self, what: &'static str) -> Result<(), Failure> {
        match self.step(what) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(Failure::Stopped),
        }
    }

    fn seen(&self) -> (&'static str, usize, usize) {
        let step = self.step.lock().map(|step| *step).unwrap_or_default();
        (step, self.done.load(Ordering::Relaxed), self.wings.load(Ordering::Relaxed))
    }
}

impl Watch for State {
    fn step(&self, what: &'static str) -> ControlFlow<()> {
        self.count(0);
        if let Ok(mut step) = self.step.lock() {
            *step = what;
        }
        self.flow()
    }

    fn count(&self, wings: usize) {
        self.done.store(0, Ordering::Relaxed);
        self.wings.store(wings, Ordering::Relaxed);
    }

    fn wing(&self, _: BatchProgress) -> ControlFlow<()> {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.flow()
    }
}

/// Does the work on a thread of its own. `progress(step, done, of)` is called as it goes on. On Ctrl-C the work is asked to
/// stop, which it does before its next step or wing, and the interpreter has its exception at once.
pub(crate) fn run<T: Send + 'static>(
    py: Python<'_>,
    progress: Option<&Bound<'_, PyAny>>,
    work: impl FnOnce(&State) -> Result<T, Failure> + Send + 'static,
) -> PyResult<T> {
    let state = Arc::new(State::default());
    let (sender, receiver) = channel();
    let working = Arc::clone(&state);
    thread::Builder::new().name("linedrift".to_owned()).stack_size(STACK_BYTES).spawn(move || {
        // nobody listens any more after Ctrl-C
        let _ = sender.send(work(&working));
    })?;
    // what is taken along while the interpreter is let go must be safe to share
    let receiver = Mutex::new(receiver);
    let wait = || receiver.lock().map_or(Err(RecvTimeoutError::Disconnected), |receiver| receiver.recv_timeout(TICK));
    let mut shown = ("", 0, 0);
    loop {
        match py.detach(wait) {
            Ok(outcome) => return outcome.map_err(|failure| failure.raise(py)),
            Err(RecvTimeoutError::Disconnected) => {
                let why = "a fault of the program, please report it with these tables";
                return Err(Failure::Result(why.to_owned()).raise(py));
            }
            Err(RecvTimeoutError::Timeout) => {}
        }
        let mut told = py.check_signals();
        let seen = state.seen();
        if let (Ok(()), Some(progress), true) = (&told, progress, seen != shown) {
            told = progress.call1(seen).map(drop);
            shown = seen;
        }
        if let Err(error) = told {
            state.stop.store(true, Ordering::Relaxed);
            return Err(error);
        }
    }
}
