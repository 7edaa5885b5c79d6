//! What a page or a drawing is made of, read from its text.

/// Checks that every element is closed in its order, that attributes are quoted and that no bare `<` or `&` is left. Styles and
/// the script are no markup.
pub fn assert_well_formed(html: &str) {
    const VOID: [&str; 2] = ["meta", "!DOCTYPE"];
    let html = html.split_once("<script>").map_or(html.to_owned(), |(before, rest)| {
        format!("{before}{}", rest.split_once("</script>").map_or("", |(_, after)| after))
    });
    let (start, rest) = html.split_once("<style>").map_or((html.as_str(), ""), |(a, b)| (a, b));
    let rest = rest.split_once("</style>").map_or(rest, |(_, b)| b);
    let text = format!("{start}{rest}");
    let mut open: Vec<String> = Vec::new();
    let mut at = 0;
    while let Some(from) = text[at..].find('<') {
        let from = at + from;
        check_entities(&text[at..from]);
        let to = from + text[from..].find('>').unwrap_or_else(|| panic!("tag without end at {from}"));
        let tag = &text[from + 1..to];
        assert!(!tag.contains('<'), "a bare `<` before {tag}");
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "closed out of order");
        } else {
            let name = tag.split([' ', '/']).next().unwrap();
            assert!(name == "!DOCTYPE" || name.chars().all(|c| c.is_ascii_alphanumeric()), "odd tag <{tag}>");
            assert_eq!(tag.matches('"').count() % 2, 0, "quotes of <{tag}>");
            if !tag.ends_with('/') && !VOID.contains(&name) {
                open.push(name.to_owned());
            }
        }
        at = to + 1;
    }
    assert!(open.is_empty(), "left open: {open:?}");
}

fn check_entities(text: &str) {
    for piece in text.split('&').skip(1) {
        let name = piece.split(';').next().unwrap();
        assert!(["amp", "lt", "gt", "quot", "#39", "apos"].contains(&name), "a bare `&` before {piece:.20}");
    }
}

/// The levels of the headings, in order.
pub fn levels(html: &str) -> Vec<u32> {
    let at = |rest: &str| rest.chars().next().and_then(|digit| digit.to_digit(10));
    html.split("<h").skip(1).filter_map(at).collect()
}

/// Marks of a class in a drawing. Marks that follow each other share an element, and each begins anew in it.
pub fn marks(svg: &str, class: &str) -> usize {
    let start = format!("<path class=\"{class}\" d=\"");
    svg.split(&start).skip(1).map(|rest| rest.split('"').next().unwrap().matches('M').count()).sum()
}
