//! Bars: numbers, meters, signs, words.

use super::*;
use crate::ground::time::{Meter, Ticks};

#[test]
fn a_pickup_is_a_short_uncounted_bar() {
    let s = score(&one(&format!(
        "<measure number=\"0\" implicit=\"yes\"><attributes><divisions>1</divisions>\
         <time><beats>4</beats><beat-type>4</beat-type></time></attributes>{}</measure>\
         <measure number=\"1\">{}</measure>",
        note("G4", 1, ""),
        note("C5", 4, "")
    )));
    assert!(s.bars[0].pickup);
    assert_eq!(s.bars[0].number, "0");
    assert_eq!(s.bars[1].start, Ticks(1));
    assert_eq!(s.beat_at(s.parts[0].notes[0].at).to_string(), "4");
}

#[test]
fn slashed_bars_and_long_rests() {
    let style =
        |what: &str| format!("<attributes><measure-style>{what}</measure-style></attributes>");
    let s = score(&one(&format!(
        "{}{}{}",
        bar(&format!(
            "{}{}",
            style("<slash type=\"start\"/>"),
            note("B4", 4, "")
        )),
        bar(&note("B4", 4, "")),
        bar(&format!(
            "{}{}{}",
            style("<slash type=\"stop\"/>"),
            style("<multiple-rest>3</multiple-rest>"),
            note("B4", 4, "")
        )),
    )));
    let part = &s.parts[0];
    let slashed: Vec<bool> = part.bars.iter().map(|b| b.slashes).collect();
    assert_eq!(slashed, [true, true, false]);
    assert!(!part.notes[1].sounds() && part.notes[2].sounds());
    assert_eq!(part.bars[2].multi_rest, Some(3));
}

#[test]
fn keys_and_meters() {
    let s = score(&one(&format!(
        "{}{}{}",
        bar(
            "<attributes><divisions>2</divisions><key><fifths>-3</fifths><mode>minor</mode></key>\
             <time><beats>3+2</beats><beat-type>8</beat-type></time></attributes>"
        ),
        bar(
            "<attributes><time><beats>3</beats><beat-type>8</beat-type><beats>2</beats>\
             <beat-type>4</beat-type></time></attributes>"
        ),
        bar(
            "<attributes><time><senza-misura/></time><key><key-step>F</key-step>\
             <key-alter>1</key-alter></key></attributes>"
        ),
    )));
    let part = &s.parts[0];
    let key = part.keys[0].value;
    assert_eq!((key.fifths, key.minor, part.keys.len()), (-3, true, 1));
    let meters: Vec<Meter> = part.meters.iter().map(|m| m.value).collect();
    assert_eq!(
        meters,
        [Meter { beats: 5, unit: 8 }, Meter { beats: 7, unit: 8 }]
    );
}

#[test]
fn words_dynamics_and_tempos() {
    let s = score(&one(&bar(&format!(
        "<attributes><divisions>2</divisions></attributes>\
         <direction><direction-type><words>drop</words><words>  2 </words></direction-type>\
         <direction-type><dynamics><mf/></dynamics></direction-type>\
         <offset>2</offset><staff>2</staff></direction>\
         <direction><direction-type><rehearsal>B</rehearsal></direction-type></direction>\
         <direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>\
         <per-minute>c. 80</per-minute></metronome></direction-type><sound tempo=\"1\"/></direction>\
         <sound tempo=\"132\"/>{}",
        note(
            "C5",
            8,
            "<notations><dynamics><s/><other-dynamics>fz!</other-dynamics></dynamics></notations>"
        )
    ))));
    let part = &s.parts[0];
    assert_eq!(part.words[0].value.text, "drop 2");
    assert_eq!(part.words[0].value.staff, 2);
    assert_eq!(part.words[0].onset, Ticks(2));
    assert_eq!(part.dynamics[1].value, "mf");
    assert_eq!(part.dynamics[0].value, "sfz!");
    assert_eq!(part.bars[0].rehearsal.as_deref(), Some("B"));
    let tempos: Vec<f64> = part.tempos.iter().map(|t| t.value).collect();
    assert_eq!(tempos, [120.0, 132.0]);
}

#[test]
fn bar_lines_and_repeats() {
    let s = score(&one(&format!(
        "{}{}{}",
        bar(&format!(
            "{}<barline location=\"right\"><bar-style>light-light</bar-style></barline>",
            note("C5", 4, "")
        )),
        bar(
            "<barline location=\"left\"><bar-style>heavy-light</bar-style>\
             <repeat direction=\"forward\"/></barline>"
        ),
        bar(
            "<barline location=\"left\"><bar-style>light-light</bar-style></barline>\
             <barline><bar-style>light-heavy</bar-style><repeat direction=\"backward\"/></barline>"
        ),
    )));
    let b = &s.parts[0].bars;
    assert!(b[0].double_bar && b[1].double_bar && b[2].double_bar);
    assert!(b[1].repeat_start && !b[1].repeat_end && b[2].repeat_end);
}

#[test]
fn endings_signs_and_hairpins() {
    use crate::score::{Hairpin, Signs};
    let direction =
        |kind: &str| format!("<direction><direction-type>{kind}</direction-type></direction>");
    let bars = bar(&format!(
        "{}{}{}{}<barline location=\"left\"><ending number=\"1\" type=\"start\"/></barline>",
        direction("<segno/>"),
        direction("<wedge type=\"crescendo\"/>"),
        note("C5", 4, ""),
        direction("<wedge type=\"stop\"/>"),
    )) + &bar(&format!(
        "<barline location=\"left\"><ending number=\"1\" type=\"discontinue\"/></barline>{}{}\
         <sound dalsegno=\"a\"/>",
        note("C5", 4, ""),
        direction("<words>D.S. al Coda</words>"),
    )) + &bar(&format!(
        "{}{}",
        direction("<coda/>"),
        direction("<words>Fine</words>")
    ));
    let score = score(&one(&bars));
    let part = &score.parts[0];
    assert_eq!(part.bars[0].ending.as_deref(), Some("1"));
    assert_eq!(part.bars[0].signs, Signs::SEGNO);
    assert_eq!(part.bars[1].ending, None);
    assert_eq!(part.bars[1].signs, Signs::DAL_SEGNO.with(Signs::AL_CODA));
    assert_eq!(part.bars[2].signs, Signs::CODA.with(Signs::FINE));
    let hairpins: Vec<_> = part
        .hairpins
        .iter()
        .map(|m| (m.value, m.at.offset.0))
        .collect();
    let per_quarter = score.per_quarter.0;
    assert_eq!(
        hairpins,
        [(Hairpin::Crescendo, 0), (Hairpin::Stop, 4 * per_quarter)]
    );
}

#[test]
fn bars_without_a_meter() {
    let free = "<attributes><time><senza-misura/></time></attributes>";
    let metered = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
    let text = one(&(bar(&format!("{free}{}", note("C5", 7, "")))
        + &bar(&format!("{metered}{}", note("C5", 4, "")))));
    let score = score(&text);
    let bars = &score.parts[0].bars;
    assert!(bars[0].unmeasured && !bars[1].unmeasured);
}
