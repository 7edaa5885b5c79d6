//! What is being done, on stderr and only when that is a terminal.

use std::io::{IsTerminal, stderr};
use std::ops::ControlFlow;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use linedrift::fleet::batch::{BatchProgress, Watch};

/// A line that names the step at work. It vanishes when dropped.
#[derive(Debug)]
pub(super) struct Progress {
    bar: ProgressBar,
}

impl Progress {
    pub(super) fn new() -> Self {
        let bar = if stderr().is_terminal() {
            let bar = ProgressBar::new_spinner();
            bar.enable_steady_tick(Duration::from_millis(120));
            bar
        } else {
            ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden())
        };
        Self { bar }
    }

    /// Names the step that begins.
    pub(super) fn step(&self, what: &'static str) {
        self.bar.set_style(ProgressStyle::default_spinner());
        self.bar.set_message(what);
        self.bar.tick();
    }

    /// The step goes over so many wings: their number, the rate and the time left are shown.
    pub(super) fn count(&self, wings: usize) {
        // a template that indicatif does not take leaves the plain line
        if let Ok(style) =
            ProgressStyle::with_template("{spinner} {msg}: {pos} of {len} wings, {per_sec}, {eta} left")
        {
            self.bar.set_style(style);
        }
        self.bar.set_length(wings as u64);
        self.bar.set_position(0);
        self.bar.reset_eta();
    }

    /// The step goes over so many designs.
    pub(super) fn designs(&self, designs: usize) {
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}: {pos} of {len} designs, {elapsed}") {
            self.bar.set_style(style);
        }
        self.bar.set_length(designs as u64);
        self.bar.set_position(0);
    }

    /// One design more is done.
    pub(super) fn one_more(&self) {
        self.bar.inc(1);
    }

    /// A wing is done. Wings of an earlier run count for the place, not for the rate.
    pub(super) fn at(&self, progress: BatchProgress) -> ControlFlow<()> {
        if self.bar.position() < progress.resumed as u64 {
            self.bar.set_position(progress.resumed as u64);
            self.bar.reset_eta();
        }
        self.bar.inc(1);
        ControlFlow::Continue(())
    }
}

impl Watch for Progress {
    fn step(&self, what: &'static str) -> ControlFlow<()> {
        Self::step(self, what);
        ControlFlow::Continue(())
    }

    fn count(&self, wings: usize) {
        Self::count(self, wings);
    }

    fn wing(&self, at: BatchProgress) -> ControlFlow<()> {
        self.at(at)
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
