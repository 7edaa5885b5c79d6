//! How a contrast is written.

/// A quantity's name and its factor.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Summand<'a> {
    pub(super) factor: f64,
    pub(super) name: &'a str,
}

/// Splits `0.5*a + b - c` into its summands. A sign between summands has a blank on both sides (names may hold hyphens); a
/// factor is a number or a fraction before `*`.
pub(super) fn summands(text: &str) -> Result<Vec<Summand<'_>>, String> {
    let mut out = Vec::new();
    let (mut sign, mut from) = (1.0, 0);
    let text = text.trim();
    if let Some(lead) = text.chars().next().filter(|c| is_sign(*c)) {
        sign = sign_of(lead);
        from = lead.len_utf8();
    }
    let first = from;
    let mut before_blank = false;
    let mut chars = text.char_indices().skip_while(|(at, _)| *at < first).peekable();
    while let Some((at, c)) = chars.next() {
        let after_blank = chars.peek().is_none_or(|(_, next)| next.is_whitespace());
        if is_sign(c) && before_blank && after_blank {
            out.push(summand(sign, &text[from..at])?);
            sign = sign_of(c);
            from = at + c.len_utf8();
        }
        before_blank = c.is_whitespace();
    }
    out.push(summand(sign, &text[from..])?);
    Ok(out)
}

/// Hyphen, plus, and the signs that word processors make of them.
fn is_sign(c: char) -> bool {
    matches!(c, '+' | '-' | '\u{2212}' | '\u{2013}')
}

fn sign_of(c: char) -> f64 {
    if c == '+' { 1.0 } else { -1.0 }
}

fn summand(sign: f64, text: &str) -> Result<Summand<'_>, String> {
    let (factor, name) = match text.split_once('*') {
        Some((factor, name)) if number(factor).is_some() => (number(factor).unwrap_or(1.0), name),
        _ => (1.0, text),
    };
    let name = name.trim();
    if name.is_empty() {
        return Err("a quantity is missing beside a sign".to_owned());
    }
    if name.parse::<f64>().is_ok() {
        return Err(format!("`{name}` is a number: write a factor as `{name}*NAME`"));
    }
    Ok(Summand { factor: sign * factor, name })
}

/// A number or a fraction such as `1/3`.
fn number(text: &str) -> Option<f64> {
    let value = match text.split_once('/') {
        Some((above, below)) => above.trim().parse::<f64>().ok()? / below.trim().parse::<f64>().ok()?,
        None => text.trim().parse().ok()?,
    };
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(text: &str) -> Vec<(f64, &str)> {
        summands(text).unwrap().into_iter().map(|s| (s.factor, s.name)).collect()
    }

    #[test]
    fn signs_need_blanks_and_factors_a_star() {
        assert_eq!(parts("a:C - b:C"), [(1.0, "a:C"), (-1.0, "b:C")]);
        assert_eq!(parts("-a-b:C + 0.5*c d:A"), [(-1.0, "a-b:C"), (0.5, "c d:A")]);
        assert_eq!(parts(" 1/2 * x \u{2212} 2*y@300"), [(0.5, "x"), (-2.0, "y@300")]);
        assert_eq!(parts("only"), [(1.0, "only")]);
    }

    #[test]
    fn what_is_no_sum_is_refused() {
        for text in ["", "a -", "- + a", "a - 3", "2*", "  "] {
            assert!(summands(text).is_err(), "{text}");
        }
    }
}
