//! The words of the trade that headings and labels are made of, in English, German, French, Spanish and Italian.
//!
//! Written as [`folded`] leaves them: small letters, no accents, `ss` for `ß`. Words of several parts stand with blanks.

use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

/// What a word in a heading says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Term {
    Line,
    Row,
    Side,
    Main,
    Middle,
    Upper,
    Parent,
    Rank,
    Repeat,
    Operator,
    Nominal,
    Reading,
    /// A noun that says reading, unless it is a nominal one.
    Measure,
    Deviation,
    Expected,
    Last,
    Tolerance,
    Material,
    Span,
    Chord,
    Length,
    Diameter,
    Riser,
    Mean,
    Total,
    /// A column that is known and not needed.
    Remark,
    /// One check among others.
    Visit,
    Before,
    After,
    Is(Side),
    Of(Row),
    In(LengthUnit),
    /// French `cote` is a length, `côté` a side: the cells tell.
    SideOrNominal,
    /// `nom` is French for name, and short for nominal: the cells tell.
    LineOrNominal,
    /// Says nothing by itself.
    Filler,
}

/// The dictionary: words by what they say.
#[rustfmt::skip] // a table: one meaning a line
const WORDS: &[(Term, &[&str])] = &[
    (
        Term::Line,
        &[
            "line", "lines", "line name", "line no", "line id", "name", "id", "designation", "leine", "leinen", "leinenname",
            "leinennummer", "leinen nr", "leinenbezeichnung", "bezeichnung", "suspente", "suspentes", "ligne", "lignes",
            "linea", "lineas", "nombre", "cordino", "cordini", "fune", "funi", "linee", "nome", "cordon", "cordones",
            "suspension line", "tragleine", "tragleinen", "fangleine", "fangleinen",
        ],
    ),
    (
        Term::Row,
        &["row", "line row", "reihe", "ebene", "leinenebene", "rang", "rangee", "fila", "hilera", "group", "gruppe", "groupe", "gruppo", "grupo", "leinengruppe", "level", "levels", "niveau", "livello", "nivel", "etage"],
    ),
    (Term::Side, &["side", "seite", "lato", "lado"]),
    (Term::SideOrNominal, &["cote"]),
    (Term::LineOrNominal, &["nom"]),
    (
        Term::Main,
        &[
            "main", "mains", "main line", "main lines", "stammleine", "stammleinen", "stamm", "hauptleine", "hauptleinen",
            "haupt", "principale", "principales", "suspente basse", "suspente principale", "basse", "basses", "principal", "linea principal",
            "linea principale", "principali", "lower line", "lower", "untere",
        ],
    ),
    (
        Term::Middle,
        &[
            "middle", "mid", "middle line", "middle lines", "mittelleine", "mittelleinen", "mittlere", "intermediaire",
            "suspente intermediaire", "intermedia", "intermedio", "intermedie", "zwischenleine", "linea intermedia",
        ],
    ),
    (
        Term::Upper,
        &[
            "upper", "uppers", "upper line", "top line", "top", "galerie", "galerieleine", "galerieleinen", "gallery",
            "gallery line", "haute", "hautes", "suspente haute", "alta", "alte", "superior", "superiore", "obere", "oberleine",
            "linea alta",
        ],
    ),
    (Term::Parent, &["parent", "hangs on", "attached to", "hangt an", "attache a", "unita a", "attaccata a", "below"]),
    (
        Term::Rank,
        &["rank", "no", "nr", "num", "number", "nummer", "numero", "n", "pos", "order", "lfd", "lfd nr", "index", "orden", "ordre", "ordine", "#"],
    ),
    (Term::Repeat, &["repeat", "repetition", "wiederholung", "durchgang", "passage", "ripetizione", "repeticion", "run", "pass"]),
    (
        Term::Operator,
        &["operator", "measured by", "read by", "prufer", "gemessen von", "operateur", "mesure par", "operatore", "misurato da", "operador", "medido por"],
    ),
    (
        Term::Nominal,
        &[
            "nominal", "nominals", "target", "spec", "specified", "specification", "manufacturer", "maker", "makers", "factory",
            "manual", "theoretical", "theo", "reference", "design", "original", "soll", "sollmass", "sollmasse", "sollwert",
            "solllange", "sollange", "solllaenge", "nennmass", "nennlange", "nennlaenge", "nenn", "hersteller", "werk", "handbuch",
            "vorgabe", "referenz", "nominale", "nominales", "nominali", "theorique", "theoriques", "constructeur", "fabricant", "consigne",
            "manuel", "usine", "teorica", "teorico", "teoriche", "teorici", "fabricante", "fabrica", "costruttore", "fabbrica", "di progetto",
            "referencia", "riferimento", "target length",
        ],
    ),
    (
        Term::Reading,
        &[
            "measured", "meas", "reading", "readings", "read", "actual", "gemessen", "gemessene", "messwert", "messwerte", "ist", "istmass", "istwert", "istlange",
            "istlaenge", "ablesung", "mesuree", "mesurees", "releve", "relevee", "reel", "reelle", "lecture", "medido", "lectura",
            "real", "misurato", "misurata", "misurate", "reale", "rilevato", "rilevata", "lettura", "effettivo", "effettiva", "found",
        ],
    ),
    (
        Term::Measure,
        &[
            "measure", "measurement", "measurements", "messung", "messungen", "mesure", "mesures", "medida", "medidas", "medicion", "mediciones",
            "misura", "misure", "misurazione",
        ],
    ),
    (
        Term::Visit,
        &[
            "check", "checks", "inspection", "inspections", "prufung", "prufungen", "nachprufung", "kontrolle", "kontrollen", "controle", "controles",
            "revision", "revisions", "inspeccion", "revisione", "controllo", "controlli",
        ],
    ),
    (
        Term::Deviation,
        &[
            "deviation", "dev", "diff", "difference", "delta", "abweichung", "abw", "differenz", "ecart", "ecarts", "desviacion",
            "diferencia", "dif", "scarto", "differenza", "scostamento", "deviazione", "symmetry", "symmetrie", "simmetria", "simetria", "asymmetry",
        ],
    ),
    (Term::Expected, &["expected", "erwartet", "attendu", "attendue", "esperado", "esperada", "atteso", "attesa"]),
    (
        Term::Last,
        &["last", "previous", "letzte", "vorige", "dernier", "derniere", "precedent", "precedente", "anterior", "ultima", "ultimo"],
    ),
    (Term::Tolerance, &["tolerance", "tol", "toleranz", "tolerancia", "tolleranza", "limit", "grenze", "±"]),
    (
        Term::Material,
        &["material", "materiau", "matiere", "materiale", "leinenmaterial", "fibre", "fiber", "faser", "fibra"],
    ),
    (Term::Span, &["span", "span position", "spannweite", "spanwise", "envergure", "envergadura", "apertura"]),
    (Term::Chord, &["chord", "chord position", "profiltiefe", "flugeltiefe", "corde", "cuerda", "corda"]),
    (
        Term::Length,
        &["length", "lengths", "lange", "laenge", "langen", "longueur", "longueurs", "longitud", "longitudes", "lunghezza", "lunghezze", "mass", "masse", "gesamtlange"],
    ),
    (Term::Diameter, &["diameter", "dia", "durchmesser", "diametre", "diametro"]),
    (Term::Riser, &["riser", "risers", "tragegurt", "tragegurte", "elevateur", "elevateurs", "elevador", "elevadores", "banda", "bretella", "bretelle"]),
    (
        Term::Mean,
        &["mean", "average", "avg", "mittelwert", "durchschnitt", "moyenne", "media", "promedio", "median", "min", "max", "minimum", "maximum", "std", "ø"],
    ),
    (
        Term::Total,
        &["total", "totals", "sum", "summe", "gesamt", "somme", "totale", "suma", "totali", "totales", "somma", "count", "anzahl", "number of lines"],
    ),
    (
        Term::Remark,
        &[
            "remark", "remarks", "comment", "comments", "note", "notes", "bemerkung", "bemerkungen", "kommentar", "anmerkung",
            "remarque", "remarques", "commentaire", "nota", "notas", "observaciones", "osservazioni", "commenti", "ok", "status", "result", "ergebnis",
            "verdict", "colour", "color", "farbe", "couleur", "colore", "resultat", "risultato", "resultado", "done",
            "loop", "loops", "knot", "knots", "turns", "wraps", "schlaufe", "schlaufen", "knoten", "windungen", "boucle", "boucles", "noeud", "noeuds",
            "lazo", "lazos", "nudo", "nudos", "asola", "asole", "nodo", "nodi", "correction", "corrections", "korrektur", "korrekturen", "correccion",
            "correzione", "correzioni", "adjustment", "anpassung", "action", "aktion",
        ],
    ),
    (Term::Before, &["before", "as found", "vorher", "vor", "avant", "antes", "prima", "eingang"]),
    (Term::After, &["after", "as left", "nachher", "nach", "apres", "despues", "dopo"]),
    (
        Term::Is(Side::Left),
        &["left", "l", "lh", "links", "linke", "linker", "linkes", "li", "gauche", "izquierda", "izquierdo", "izq", "izda", "izdo", "iz", "sinistra", "sinistro", "sx", "sin", "left side", "linke seite", "cote gauche", "lado izquierdo", "lato sinistro"],
    ),
    (
        Term::Is(Side::Right),
        &["right", "r", "rh", "rechts", "rechte", "rechter", "rechtes", "re", "droite", "droit", "derecha", "derecho", "der", "dcha", "dcho", "destra", "destro", "dx", "right side", "rechte seite", "cote droit", "lado derecho", "lato destro"],
    ),
    (Term::Of(Row::A), &["a"]),
    (Term::Of(Row::B), &["b"]),
    (Term::Of(Row::C), &["c"]),
    (Term::Of(Row::D), &["d"]),
    (
        Term::Of(Row::Stabilo),
        &["stabilo", "stabilos", "stab", "stabi", "stabilisator", "stabiliser", "stabilizer", "stabilisateur", "stabilizzatore", "estabilizador", "estabilo", "st", "s", "sta", "wingtip", "tip", "tips", "stabiloleinen", "stabiloleine"],
    ),
    (
        Term::Of(Row::Brake),
        &["brake", "brakes", "bremse", "bremsen", "brems", "bremsleine", "bremsleinen", "steuerleine", "steuerleinen", "frein", "freins", "freno", "freni", "frenos", "br", "k", "f", "mando", "mandos", "comando", "comandi", "commande", "commandes", "bremsspinne", "bk"],
    ),
    (Term::In(LengthUnit::Millimetre), &["mm", "millimetre", "millimetres", "millimeter", "millimetri", "milimetros"]),
    (Term::In(LengthUnit::Centimetre), &["cm", "centimetre", "centimetres", "centimeter", "zentimeter", "centimetri", "centimetros"]),
    (Term::In(LengthUnit::Metre), &["metre", "metres", "meter", "metri", "metros"]),
    (
        Term::Filler,
        &["the", "of", "in", "der", "die", "das", "de", "la", "le", "les", "des", "du", "del", "della", "delle", "und", "and", "et", "e", "y", "en", "value", "values", "wert", "werte", "valeur", "valeurs", "valor", "valores", "valore", "valori", "all", "whole", "overall", "per", "wing", "half", "flugel", "halbflugel", "flugelhalfte", "aile", "demi", "ala", "semiala", "maker s", "data", "daten", "table", "tabelle"],
    ),
];

/// Names of months by their first letters, folded.
pub(super) const MONTHS: [&[&str]; 12] = [
    &["jan", "ene", "gen"],
    &["feb", "fev"],
    &["mar", "mrz", "maer"],
    &["apr", "avr", "abr"],
    &["may", "mai", "mag"],
    &["jun", "juin", "giu"],
    &["jul", "juil", "lug"],
    &["aug", "aou", "ago"],
    &["sep", "set"],
    &["oct", "okt", "ott"],
    &["nov"],
    &["dec", "dez", "dic"],
];

/// Small letters without accents; everything that is neither letter nor digit becomes a blank.
pub(super) fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars().flat_map(char::to_lowercase) {
        match letter {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => out.push('a'),
            'è' | 'é' | 'ê' | 'ë' => out.push('e'),
            'ì' | 'í' | 'î' | 'ï' => out.push('i'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' => out.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => out.push('u'),
            'ç' => out.push('c'),
            'ñ' => out.push('n'),
            'ß' => out.push_str("ss"),
            'δ' | '∆' => out.push_str(" delta "),
            '#' => out.push_str(" # "),
            '±' => out.push_str(" ± "),
            // combining accents too
            '°' | 'º' | '\u{300}'..='\u{36f}' => {}
            _ if letter.is_alphanumeric() => out.push(letter),
            _ => out.push(' '),
        }
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What a folded word or phrase says.
pub(super) fn term(phrase: &str) -> Option<Term> {
    WORDS.iter().find(|(_, words)| words.contains(&phrase)).map(|(term, _)| *term)
}

/// Most words that a phrase of the dictionary has.
pub(super) const LONGEST_PHRASE: usize = 3;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_says_two_things_and_all_are_folded() {
        let mut seen = std::collections::HashSet::new();
        for (term, words) in WORDS {
            for word in *words {
                if !matches!(*word, "#" | "±") {
                    assert_eq!(folded(word), **word, "{term:?}");
                }
                assert!(word.split(' ').count() <= LONGEST_PHRASE, "{word}");
                assert!(seen.insert(*word) || *term == Term::Filler, "`{word}` appears twice");
            }
        }
        assert_eq!(folded("  Länge (Ø) – SOLL\u{a0}[mm] "), "lange ø soll mm");
        assert_eq!(folded("Sollmaß"), "sollmass");
    }
}
