//! The nearest of known words, for advice in messages.

/// "did you mean `x`?", or what there is.
pub fn meant<'a>(word: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> String {
    match nearest(word, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("there are: {}", listed(known)),
    }
}

/// All of them, or the first thirty.
fn listed<'a>(known: impl IntoIterator<Item = &'a str>) -> String {
    const MOST: usize = 30;
    let all: Vec<&str> = known.into_iter().collect();
    let shown = all.get(..MOST.min(all.len())).unwrap_or_default();
    let more = if all.len() > MOST { ", ..." } else { "" };
    format!("{}{more}", shown.join(", "))
}

/// The nearest of some known words, when one is near.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let fold = |w: &str| w.to_lowercase().replace(['_', ' '], "-");
    let own = fold(word);
    let likeness = |k: &str| {
        let k = fold(k);
        // "dim" for "passing-diminished", "range" for "written-range".
        let inside = own.chars().count() >= 3 && k.split('-').any(|w| w.starts_with(&own));
        let whole = strsim::normalized_damerau_levenshtein(&own, &k);
        if inside { whole.max(0.75) } else { whole }
    };
    known
        .into_iter()
        .map(|k| (likeness(k), k))
        .filter(|(l, _)| *l >= 0.55)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}
