//! Figures as pixels (feature `png`).

use std::sync::{Arc, OnceLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb::Database};

use super::figure::{FIGURE_CSS, Figure};
use crate::report::ReportError;

/// Most pixels of one picture: what a poster needs, and no more than a small machine holds.
const MOST_PIXELS: f64 = 2e8;

impl Figure {
    /// The figure as a PNG in its light colours, on a ground of its own. At a scale of 1 it is as wide as its drawing, between
    /// 560 and 1360 pixels: about twice its size on the page. Text is set in the system's sans-serif font, so that the bytes differ
    /// between machines with other fonts.
    ///
    /// # Errors
    /// [`ReportError::Drawing`] when the scale is not above 0 or too large, or the system has no font.
    pub fn png(&self, scale: f64) -> Result<Vec<u8>, ReportError> {
        let failed = |reason: String| ReportError::Drawing { figure: self.title().to_owned(), reason };
        let alone = self.cautioned();
        let [width, height] = alone.size().map(|side| (f64::from(side) * scale).round());
        if !(width >= 1.0 && height >= 1.0 && width * height <= MOST_PIXELS) {
            return Err(failed(format!("{width} times {height} pixels, expected 1 to {MOST_PIXELS} in all")));
        }
        let fonts = fonts();
        if fonts.is_empty() {
            return Err(failed("the system has no font to set its words in".to_owned()));
        }
        let options = Options { fontdb: Arc::clone(fonts), ..Options::default() };
        let tree =
            Tree::from_str(&alone.dressed(&light_css()), &options).map_err(|error| failed(error.to_string()))?;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, and between 1 and 2e8")]
        let mut pixels = Pixmap::new(width as u32, height as u32)
            .ok_or_else(|| failed(format!("no memory for {width} times {height} pixels")))?;
        #[allow(clippy::cast_possible_truncation, reason = "a scale")]
        let scale = scale as f32;
        resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
        pixels.encode_png().map_err(|error| failed(error.to_string()))
    }
}

/// The fonts of the system, looked for once.
fn fonts() -> &'static Arc<Database> {
    static FONTS: OnceLock<Arc<Database>> = OnceLock::new();
    FONTS.get_or_init(|| {
        let mut fonts = Database::new();
        fonts.load_system_fonts();
        let families: Vec<String> =
            fonts.faces().flat_map(|face| face.families.iter().map(|(name, _)| name.clone())).collect();
        let usual = ["Noto Sans", "DejaVu Sans", "Liberation Sans", "Arial", "Helvetica"];
        let found = usual.into_iter().find(|name| families.iter().any(|family| family == name));
        if let Some(family) = found.map(str::to_owned).or_else(|| families.first().cloned()) {
            fonts.set_sans_serif_family(family);
        }
        Arc::new(fonts)
    })
}

/// The light rules with their colours written out, for a reader that knows neither variables nor media.
fn light_css() -> String {
    let mut rules: String = FIGURE_CSS.lines().skip(3).flat_map(|line| [line, "\n"]).collect();
    rules = rules.replace("var(--", "\u{1}");
    let light = FIGURE_CSS.lines().next().unwrap_or_default();
    for (name, value) in light.trim_start_matches(".fig{").split(';').filter_map(|rule| rule.split_once(':')) {
        rules = rules.replace(&format!("\u{1}{})", name.trim_start_matches("--")), value);
    }
    format!(".fig{{font-family:sans-serif}}\n{rules}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_colour_is_written_out() {
        let css = light_css();
        assert!(!css.contains('\u{1}') && !css.contains("var(") && !css.contains("@media"), "{css}");
        assert!(css.contains(".f-left{fill:#005f94}"), "{css}");
    }
}
