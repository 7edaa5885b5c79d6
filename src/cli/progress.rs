//! What is being done, on stderr and only when that is a terminal.

use std::io::{IsTerminal, stderr};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget};

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
        self.bar.set_message(what);
        self.bar.tick();
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
