//! Whole documents, small ones with notes made up for the purpose.

use super::*;
use crate::ground::pitch::Transposition;
use crate::ground::text::Span;
use crate::ground::time::{Meter, Ticks};
use crate::score::{Articulations, NoteFlags, Part};

/// Reads a text in the usual way, and makes sure that each other way comes to the same.
fn read_text(text: &str) -> Result<Score, Problem> {
    read_text_within(text, Limits::USUAL)
}

fn read_text_within(text: &str, limits: Limits) -> Result<Score, Problem> {
    let path = Path::new("a.musicxml");
    let read = read_within(path, None, text.into(), limits);
    let usual = format!("{read:?}");
    for (name, ways) in Ways::ALL {
        let other = format!("{:?}", read_in(ways, path, None, text.into(), limits));
        assert_eq!(other, usual, "by {name}: {text}");
    }
    read
}

fn score(text: &str) -> Score {
    read_text(text).unwrap()
}

/// A partwise score of one part.
fn one(bars: &str) -> String {
    part_with("", bars)
}

/// The same, with something before the part list.
fn part_with(head: &str, bars: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?>\n<!DOCTYPE score-partwise PUBLIC \"x\" \"y\">\n\
         <score-partwise version=\"4.0\">{head}<part-list><score-part id=\"P1\">\
         <part-name>Alto</part-name></score-part></part-list>\
         <part id=\"P1\">{bars}</part></score-partwise>"
    )
}

/// A note such as `Bb4` lasting `duration` divisions, with more of its children.
fn note(pitch: &str, duration: u32, more: &str) -> String {
    let p: crate::ground::pitch::Pitch = pitch.parse().unwrap();
    format!(
        "<note><pitch><step>{:?}</step><alter>{}</alter><octave>{}</octave></pitch>\
         <duration>{duration}</duration>{more}</note>",
        p.step, p.alter, p.octave
    )
}

fn bar(content: &str) -> String {
    format!("<measure number=\"1\">{content}</measure>")
}

const ALTO: &str = "<attributes><divisions>2</divisions><transpose><diatonic>-5</diatonic>\
                    <chromatic>-9</chromatic></transpose></attributes>";

fn sounding(part: &Part) -> Vec<String> {
    part.notes.iter().map(|n| n.sounding.to_string()).collect()
}

fn times(part: &Part) -> Vec<(i64, i64)> {
    part.notes
        .iter()
        .map(|n| (n.onset.0, n.duration.0))
        .collect()
}

/// The message of a text that must be refused, with its place before it.
fn refusal(text: &str) -> String {
    let error = read_text(text).unwrap_err();
    assert!(error.at.is_some(), "{error} has no place");
    error.to_string()
}

#[test]
fn an_alto_sounds_a_major_sixth_lower() {
    let s = score(&one(&bar(&format!(
        "{ALTO}{}{}",
        note("C5", 4, ""),
        note("F#5", 4, "")
    ))));
    let part = &s.parts[0];
    assert_eq!(part.notes[0].written.to_string(), "C5");
    assert_eq!(sounding(part), ["Eb4", "A4"]);
    assert!(part.states_transposition);
    // Published: MusicXML 4.0, transpose: chromatic -9 with diatonic -5 is the alto saxophone.
    assert_eq!(
        part.transpositions[0].value,
        Transposition::from_parts(-5, -9, 0)
    );
}

#[test]
fn octaves_and_missing_letter_steps() {
    let tenor = "<attributes><divisions>1</divisions><transpose><chromatic>-2</chromatic>\
                 <octave-change>-1</octave-change></transpose></attributes>";
    let s = score(&one(&bar(&format!("{tenor}{}", note("C5", 4, "")))));
    assert_eq!(sounding(&s.parts[0]), ["Bb3"]);
    assert_eq!(s.parts[0].transposition(Ticks::ZERO).diatonic, -8);

    let doubled = "<attributes><divisions>1</divisions><transpose><chromatic>0</chromatic>\
                   <octave-change>-1</octave-change><double/></transpose></attributes>";
    let s = score(&one(&bar(&format!("{doubled}{}", note("C5", 4, "")))));
    assert_eq!(sounding(&s.parts[0]), ["C3"]);
}

#[test]
fn an_octave_clef_moves_nothing() {
    let clef = "<attributes><divisions>1</divisions><clef><sign>G</sign><line>2</line>\
                <clef-octave-change>-1</clef-octave-change></clef></attributes>";
    let s = score(&one(&bar(&format!("{clef}{}", note("C4", 4, "")))));
    assert_eq!(sounding(&s.parts[0]), ["C4"]);
    let clef = s.parts[0].clefs[0].value;
    assert_eq!(
        (clef.sign, clef.line, clef.octave, clef.staff),
        ('G', 2, -1, 1)
    );
    assert!(!s.parts[0].states_transposition);
}

#[test]
fn a_concert_score_keeps_only_octaves() {
    let head = "<defaults><concert-score/></defaults>";
    let s = score(&part_with(
        head,
        &bar(&format!("{ALTO}{}", note("C5", 4, ""))),
    ));
    assert!(s.concert);
    assert_eq!(sounding(&s.parts[0]), ["C5"]);
    assert_eq!(s.parts[0].transposition(Ticks::ZERO), Transposition::NONE);

    let bass = "<attributes><divisions>1</divisions><transpose><chromatic>0</chromatic>\
                <octave-change>-1</octave-change></transpose><for-part><part-transpose>\
                <chromatic>-5</chromatic></part-transpose></for-part></attributes>";
    let s = score(&part_with(
        head,
        &bar(&format!("{bass}{}", note("C3", 4, ""))),
    ));
    assert_eq!(sounding(&s.parts[0]), ["C2"]);
}

#[test]
fn the_transposition_may_change_in_the_middle() {
    let to_clarinet = "<attributes><transpose><diatonic>-1</diatonic>\
                       <chromatic>-2</chromatic></transpose></attributes>";
    let s = score(&one(&bar(&format!(
        "{ALTO}{}{to_clarinet}{}",
        note("C5", 2, ""),
        note("C5", 2, "")
    ))));
    assert_eq!(sounding(&s.parts[0]), ["Eb4", "Bb4"]);
    assert_eq!(s.parts[0].transpositions.len(), 2);
    assert_eq!(s.parts[0].transpositions[1].onset, Ticks(2));
}

#[test]
fn a_transposition_of_one_staff_leaves_the_other() {
    let attributes = "<attributes><divisions>1</divisions><staves>2</staves>\
                      <transpose number=\"2\"><chromatic>-2</chromatic></transpose></attributes>";
    let s = score(&one(&bar(&format!(
        "{attributes}{}<backup><duration>4</duration></backup>{}",
        note("C5", 4, "<staff>1</staff>"),
        note("C4", 4, "<staff>2</staff>")
    ))));
    assert_eq!(sounding(&s.parts[0]), ["C5", "Bb3"]);
    assert_eq!(s.parts[0].staves, 2);
}

#[test]
fn two_voices_over_backup_and_forward() {
    let s = score(&one(&bar(&format!(
        "<attributes><divisions>2</divisions></attributes>{}{}\
         <backup><duration>8</duration></backup>\
         <forward><duration>2</duration></forward>{}",
        note("E5", 4, "<voice>1</voice>"),
        note("F5", 4, "<voice>1</voice>"),
        note("C5", 2, "<voice>2</voice>")
    ))));
    let part = &s.parts[0];
    assert_eq!(times(part), [(0, 4), (2, 2), (4, 4)]);
    assert_eq!(
        part.notes.iter().map(|n| n.voice).collect::<Vec<_>>(),
        [1, 2, 1]
    );
    assert_eq!(part.bars[0].filled, Ticks(8));
}

#[test]
fn backing_up_too_far_stops_at_the_bar_line() {
    let s = score(&one(&bar(&format!(
        "{}<backup><duration>99</duration></backup>{}",
        note("E5", 4, ""),
        note("C5", 4, "")
    ))));
    assert_eq!(times(&s.parts[0]), [(0, 4), (0, 4)]);
}

#[test]
fn voices_whose_names_are_no_numbers_keep_apart() {
    let s = score(&one(&bar(&format!(
        "{}{}{}{}",
        note("C5", 1, "<voice>up</voice>"),
        note("D5", 1, "<voice>down</voice>"),
        note("E5", 1, "<voice>up</voice>"),
        note("F5", 1, "<voice>7</voice>")
    ))));
    let v: Vec<u8> = s.parts[0].notes.iter().map(|n| n.voice).collect();
    assert_eq!(v[0], v[2]);
    assert_ne!(v[0], v[1]);
    assert_eq!(v[3], 7);
}

#[test]
fn chord_members_share_the_onset() {
    let s = score(&one(&bar(&format!(
        "{}{}{}{}",
        note("C5", 2, ""),
        note("E5", 2, "<voice>3</voice>"),
        "<note><chord/><pitch><step>G</step><octave>5</octave></pitch><duration>2</duration></note>",
        note("A5", 2, "")
    ))));
    let part = &s.parts[0];
    assert_eq!(times(part), [(0, 2), (2, 2), (2, 2), (4, 2)]);
    assert!(part.notes[2].flags.has(NoteFlags::CHORD_MEMBER));
    assert_eq!(part.notes[2].voice, 3);
}

#[test]
fn ties_as_heard_go_before_ties_as_drawn() {
    let s = score(&one(&bar(&format!(
        "{}{}{}",
        note(
            "C5",
            1,
            "<tie type=\"start\"/><notations><tied type=\"stop\"/></notations>"
        ),
        note(
            "C5",
            1,
            "<notations><tied type=\"stop\"/><tied type=\"start\"/></notations>"
        ),
        note("C5", 1, "<notations><tied type=\"let-ring\"/></notations>")
    ))));
    let flags: Vec<NoteFlags> = s.parts[0].notes.iter().map(|n| n.flags).collect();
    assert_eq!(flags[0], NoteFlags::TIED_OUT);
    assert_eq!(flags[1], NoteFlags::TIED_IN.with(NoteFlags::TIED_OUT));
    assert_eq!(flags[2], NoteFlags::default());
}

#[test]
fn divisions_may_change_and_triplets_stay_exact() {
    let s = score(&one(&bar(&format!(
        "<attributes><divisions>3</divisions></attributes>{}{}{}\
         <attributes><divisions>4</divisions></attributes>{}{}",
        note("C5", 1, ""),
        note("D5", 1, ""),
        note("E5", 1, ""),
        note("F5", 3, ""),
        note("G5", 1, "")
    ))));
    assert_eq!(s.per_quarter, Ticks(12));
    assert_eq!(
        times(&s.parts[0]),
        [(0, 4), (4, 4), (8, 4), (12, 9), (21, 3)]
    );
}

#[test]
fn decimal_durations_make_finer_ticks() {
    let s = score(&one(&bar(
        "<attributes><divisions>2.0</divisions></attributes>\
         <note><pitch><step>C</step><octave>4</octave></pitch><duration>0.5</duration></note>\
         <note><pitch><step>D</step><octave>4</octave></pitch><duration>1.50</duration></note>",
    )));
    assert_eq!(s.per_quarter, Ticks(4));
    assert_eq!(times(&s.parts[0]), [(0, 1), (1, 3)]);
}

#[test]
fn a_note_without_duration_lasts_as_long_as_it_looks() {
    let s = score(&one(&bar(
        "<attributes><divisions>1</divisions></attributes>\
         <note><pitch><step>C</step><octave>4</octave></pitch><type>quarter</type><dot/></note>\
         <note><pitch><step>C</step><octave>4</octave></pitch><type>eighth</type>\
         <time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>\
         </time-modification></note>",
    )));
    assert_eq!(s.per_quarter, Ticks(6));
    assert_eq!(times(&s.parts[0]), [(0, 9), (9, 2)]);
}

#[test]
fn grace_and_cue_notes() {
    let s = score(&one(&bar(&format!(
        "<note><grace slash=\"yes\"/><pitch><step>B</step><octave>4</octave></pitch></note>{}{}",
        note("C5", 2, ""),
        note("D5", 2, "<cue/>")
    ))));
    let part = &s.parts[0];
    assert_eq!(times(part), [(0, 0), (0, 2), (2, 2)]);
    assert!(part.notes[0].flags.has(NoteFlags::GRACE));
    assert!(part.notes[1].sounds());
    assert!(part.notes[2].flags.has(NoteFlags::CUE));
}

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
fn timewise_reads_as_partwise_does() {
    let names = "<part-list><score-part id=\"A\"><part-name>Alto 1</part-name></score-part>\
                 <score-part id=\"B\"><part-name>Alto 2</part-name></score-part></part-list>";
    let bars = |part: usize, bar: usize| {
        let pitch = [["C5", "D5"], ["A4", "B4"]][part][bar];
        let attributes = if bar == 0 { ALTO } else { "" };
        format!("{attributes}{}", note(pitch, 8, ""))
    };
    let partwise = score(&format!(
        "<score-partwise>{names}<part id=\"A\"><measure number=\"1\">{}</measure>\
         <measure number=\"2\">{}</measure></part><part id=\"B\"><measure number=\"1\">{}</measure>\
         <measure number=\"2\">{}</measure></part></score-partwise>",
        bars(0, 0),
        bars(0, 1),
        bars(1, 0),
        bars(1, 1)
    ));
    let timewise = score(&format!(
        "<score-timewise>{names}<measure number=\"1\"><part id=\"A\">{}</part>\
         <part id=\"B\">{}</part></measure><measure number=\"2\"><part id=\"A\">{}</part>\
         <part id=\"B\">{}</part></measure></score-timewise>",
        bars(0, 0),
        bars(1, 0),
        bars(0, 1),
        bars(1, 1)
    ));
    assert_eq!(timewise.parts.len(), 2);
    for (p, t) in partwise.parts.iter().zip(&timewise.parts) {
        assert_eq!(p.name, t.name);
        assert_eq!(sounding(p), sounding(t));
        assert_eq!(times(p), times(t));
        assert_eq!(t.bars[1].number, "2");
    }
    assert_eq!(sounding(&timewise.parts[1]), ["C4", "D4"]);
}

#[test]
fn a_part_left_out_of_a_timewise_bar_is_silent_there() {
    let s = score(&format!(
        "<score-timewise><measure number=\"1\"><part id=\"A\">{}</part></measure>\
         <measure number=\"2\"><part id=\"A\">{}</part><part id=\"B\">{}</part></measure>\
         </score-timewise>",
        note("C5", 4, ""),
        note("D5", 4, ""),
        note("E4", 4, "")
    ));
    assert_eq!(s.parts[1].notes[0].onset, Ticks(4));
    assert_eq!(s.parts[1].name, "B");
}

#[test]
fn rests_that_fill_the_bar() {
    let s = score(&one(&format!(
        "{}{}{}",
        bar("<note><rest measure=\"yes\"/><duration>4</duration></note>"),
        bar("<note><rest/><duration>4</duration></note>"),
        bar(&format!(
            "<note><rest/><duration>2</duration></note>{}",
            note("C5", 2, "")
        )),
    )));
    let whole: Vec<bool> = s.parts[0].rests.iter().map(|r| r.whole_bar).collect();
    assert_eq!(whole, [true, true, false]);
}

#[test]
fn articulations_slurs_and_noteheads() {
    let s = score(&one(&bar(&format!(
        "{}{}{}{}",
        note(
            "C5",
            1,
            "<notations><slur type=\"start\"/><articulations><accent/><detached-legato/>\
             </articulations><fermata/></notations>"
        ),
        note(
            "D5",
            1,
            "<notations><slur type=\"stop\"/><articulations><strong-accent/><falloff/>\
             <breath-mark/></articulations></notations>"
        ),
        note("E5", 1, "<notehead>slash</notehead>"),
        note("F5", 1, "<notehead parentheses=\"yes\">normal</notehead>")
    ))));
    let n = &s.parts[0].notes;
    for mark in [
        Articulations::ACCENT,
        Articulations::TENUTO,
        Articulations::STACCATO,
        Articulations::FERMATA,
    ] {
        assert!(n[0].articulations.has(mark));
    }
    assert_eq!(
        n[1].articulations,
        Articulations::MARCATO
            .with(Articulations::FALL)
            .with(Articulations::BREATH)
    );
    assert_eq!(n[0].flags, NoteFlags::SLUR_START);
    assert_eq!(n[1].flags, NoteFlags::SLUR_STOP);
    assert!(!n[2].sounds());
    assert_eq!(n[3].flags, NoteFlags::GHOST);
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
fn drums_are_counted() {
    let s = score(&one(&bar(&format!(
        "<note><unpitched><display-step>E</display-step></unpitched><duration>2</duration></note>{}",
        note("C5", 2, "")
    ))));
    assert_eq!(s.parts[0].unpitched, 1);
    assert_eq!(times(&s.parts[0]), [(2, 2)]);
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
fn names_of_parts() {
    let s = score(&format!(
        "<score-partwise><work><work-title>Work</work-title></work><part-list>\
         <part-group type=\"start\"/>\
         <score-part id=\"A\"><part-name>\n Alto  Sax\u{a0}1 </part-name>\
         <part-abbreviation>A. Sx. 1</part-abbreviation><score-instrument id=\"I\">\
         <instrument-name>Alto Saxophone</instrument-name>\
         <instrument-sound>wind.reed.saxophone.alto</instrument-sound></score-instrument></score-part>\
         <score-part id=\"B\"><part-name/><part-abbreviation>Tn.</part-abbreviation></score-part>\
         <score-part id=\"C\"><part-name/></score-part>\
         <score-part id=\"D\"><part-name>Tacet</part-name></score-part></part-list>\
         <part id=\"C\">{0}</part><part id=\"A\">{0}</part><part id=\"B\">{0}</part>\
         </score-partwise>",
        bar(&note("C5", 4, ""))
    ));
    let names: Vec<&str> = s.parts.iter().map(|p| p.name.as_str()).collect();
    // In the order of the part list; a part without music is left out.
    assert_eq!(names, ["Alto Sax 1", "Tn.", "C"]);
    let alto = &s.parts[0];
    assert_eq!(alto.abbreviation.as_deref(), Some("A. Sx. 1"));
    assert_eq!(alto.instrument_name.as_deref(), Some("Alto Saxophone"));
    assert_eq!(alto.sound.as_deref(), Some("wind.reed.saxophone.alto"));
    assert_eq!(s.title.as_deref(), Some("Work"));
    let titled = part_with("<movement-title>Quay &amp; Co</movement-title>", &bar(""));
    assert_eq!(score(&titled).title.as_deref(), Some("Quay & Co"));
}

#[test]
fn spans_hold_the_whole_note() {
    for mark in ["", "\u{feff}"] {
        let first = note("C5", 4, "");
        let text = format!("{mark}{}", one(&bar(&format!("\n  {first}\n"))));
        let s = score(&text);
        let span = s.parts[0].notes[0].span;
        assert_eq!(&text[span.start as usize..span.end as usize], first);
        let span = s.parts[0].bars[0].span;
        let measure = &text[span.start as usize..span.end as usize];
        assert!(measure.starts_with("<measure") && measure.ends_with("</measure>"));
    }
}

fn harmony(content: &str) -> Score {
    score(&one(&bar(&format!(
        "{ALTO}{}<harmony>{content}</harmony>{}",
        note("C5", 4, ""),
        note("C5", 4, "")
    ))))
}

#[test]
fn chord_symbols_are_brought_to_concert_pitch() {
    let s = harmony(
        "<root><root-step>A</root-step></root><kind text=\"6\">major-sixth</kind>\
         <bass><bass-step>C</bass-step><bass-alter>1</bass-alter></bass>",
    );
    let mark = &s.chords[0].value;
    assert_eq!(mark.written, "A6/C#");
    assert_eq!(s.chords[0].onset, Ticks(4));
    let chord = mark.chord.as_ref().unwrap();
    assert_eq!(chord.root.to_string(), "C");
    assert_eq!(chord.bass.unwrap().to_string(), "E");
    assert!(chord.has(6, 0) && !chord.has(7, -1));
}

#[test]
fn degrees_and_offsets_of_chord_symbols() {
    let s = harmony(
        "<root><root-step>F</root-step><root-alter>1</root-alter></root><kind text=\"7\">dominant</kind>\
         <degree><degree-value>9</degree-value><degree-alter>-1</degree-alter>\
         <degree-type>add</degree-type></degree><offset>-2</offset>",
    );
    assert_eq!(s.chords[0].onset, Ticks(2));
    let chord = s.chords[0].value.chord.clone().unwrap();
    assert_eq!(chord.root.to_string(), "A");
    assert!(chord.has(9, -1) && chord.has(7, -1));
    assert!(s.chords[0].value.written.starts_with("F#"));
}

#[test]
fn no_chord_and_first_of_several() {
    let s =
        harmony("<root><root-step text=\"\">C</root-step></root><kind text=\"N.C.\">none</kind>");
    assert_eq!(s.chords[0].value.chord, None);
    assert_eq!(s.chords[0].value.unread, None);
    assert_eq!(s.chords[0].value.written, "N.C.");
    let s = harmony(
        "<root><root-step>C</root-step></root><kind>major</kind>\
         <root><root-step>D</root-step></root><kind>minor</kind>",
    );
    let chord = s.chords[0].value.chord.clone().unwrap();
    assert_eq!(chord.root.to_string(), "Eb");
    assert!(chord.has(3, 0));
}

#[test]
fn what_cannot_be_read_of_a_symbol_is_said() {
    for (content, written, why) in [
        (
            "<numeral><numeral-root text=\"ii\">2</numeral-root></numeral><kind>minor</kind>",
            "ii minor",
            "numeral",
        ),
        (
            "<function>V</function><kind>major</kind>",
            "V major",
            "function",
        ),
        (
            "<root><root-step>H</root-step></root><kind text=\"7\">dominant</kind>",
            "7",
            "`H`",
        ),
        (
            "<root><root-step>C</root-step></root><kind>minour</kind>",
            "Cminour",
            "minour",
        ),
        ("<root><root-step>C</root-step></root>", "C", "<kind>"),
        (
            "<root><root-step>C</root-step></root><kind>major</kind><degree>\
             <degree-value>99</degree-value><degree-type>add</degree-type></degree>",
            "Cmajor",
            "`99`",
        ),
    ] {
        let s = harmony(content);
        let mark = &s.chords[0].value;
        assert_eq!(mark.written, written);
        assert!(mark.unread.as_ref().unwrap().contains(why), "{mark:?}");
        assert_eq!(mark.chord, None);
    }
}

#[test]
fn other_documents_are_named() {
    assert!(refusal("").contains("the file is empty"));
    assert!(refusal(" \n ").contains("the file is empty"));
    assert!(refusal("title: x").contains("starts with `title: x`"));
    assert!(refusal("<!-- only -->").contains("no element"));
    let page = read_text("<!DOCTYPE html>\n<html><body><br></body></html>").unwrap_err();
    assert_eq!(
        page.to_string(),
        "a.musicxml:2:1: the root element is <html>; <score-partwise> or <score-timewise> was expected"
    );
    assert!(page.help.unwrap().contains("web page"));
    assert!(refusal("<opus/>").contains("<opus>"));
    assert!(refusal("<score-partwise/>").contains("no part with a bar"));
    assert!(refusal(&format!("{}<more/>", one(&bar("")))).contains("follows the end"));
}

#[test]
fn broken_documents_are_refused_where_they_break() {
    let text = "<score-partwise>\n<part id=\"a\">\n<measure>\n  <note></measure>";
    assert!(refusal(text).starts_with("a.musicxml:4:9: not well-formed XML: "));
    let cut = "<score-partwise>\n<part id=\"a\">\n<measure number=\"1\">";
    assert_eq!(
        refusal(cut),
        "a.musicxml:3:21: the file breaks off inside <measure>: its end tag </measure> is missing"
    );
    let whole = one(&bar(&note("C5", 4, "<voice>1</voice>")));
    for end in (0..whole.len()).filter(|e| whole.is_char_boundary(*e)) {
        assert!(read_text(&whole[..end]).is_err(), "{end}");
    }
}

#[test]
fn entities_are_never_expanded() {
    let bomb = "<!DOCTYPE score-partwise [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]>\n\
                <score-partwise><movement-title>&b;</movement-title></score-partwise>";
    let message = refusal(bomb);
    assert!(message.starts_with("a.musicxml:2:33: "), "{message}");
    assert!(message.contains("`&b;`"));
    let fine = part_with(
        "<movement-title>A &lt;&#66;&#x43;&gt;</movement-title>",
        &bar(""),
    );
    assert_eq!(score(&fine).title.as_deref(), Some("A <BC>"));
    assert!(refusal(&part_with("<movement-title>&#0;</movement-title>", "")).contains("`&#0;`"));
}

#[test]
fn numbers_out_of_reach_are_refused_where_they_stand() {
    let in_bar = |content: &str| refusal(&one(&bar(content)));
    let attributes = |what: &str| in_bar(&format!("<attributes>{what}</attributes>"));
    for (message, why) in [
        (attributes("<divisions>0</divisions>"), "positive"),
        (attributes("<divisions>many</divisions>"), "`many`"),
        (
            attributes("<divisions>99999999999</divisions>"),
            "common multiple",
        ),
        (attributes("<key><fifths>90</fifths></key>"), "90 fifths"),
        (
            attributes("<time><beats>4</beats><beat-type>0</beat-type></time>"),
            "`0`",
        ),
        (
            attributes("<transpose><chromatic>-900</chromatic></transpose>"),
            "-900 semitones",
        ),
        (attributes("<staves>300</staves>"), "`300`"),
        (in_bar(&note("C5", 99_999_999, "")), "longer than"),
        (
            in_bar(
                "<forward><duration>9999</duration></forward><forward><duration>9999</duration></forward>",
            ),
            "longer than",
        ),
        (
            in_bar("<backup><duration>-4</duration></backup>"),
            "negative",
        ),
        (
            in_bar("<note><pitch><step>H</step><octave>4</octave></pitch></note>"),
            "`H`",
        ),
        (
            in_bar("<note><pitch><step>C</step><octave>99</octave></pitch></note>"),
            "octave 99",
        ),
        (
            in_bar("<note><pitch><step>C</step></pitch><duration>1</duration></note>"),
            "<octave>",
        ),
        (
            in_bar("<note><pitch><step>C</step><octave>4</octave></pitch></note>"),
            "length is unknown",
        ),
    ] {
        assert!(message.contains(why), "{message}");
    }
}

#[test]
fn ids_that_stand_twice_are_refused() {
    let list = "<part-list><score-part id=\"A\"/><score-part id=\"A\"/></part-list>";
    assert!(refusal(&format!("<score-partwise>{list}</score-partwise>")).contains("id `A`"));
    let parts = format!(
        "<part id=\"A\">{0}</part><part id=\"A\">{0}</part>",
        bar("")
    );
    assert!(refusal(&format!("<score-partwise>{parts}</score-partwise>")).contains("earlier one"));
}

#[test]
fn depth_is_limited() {
    let deep = "<a>".repeat(200_000);
    assert!(refusal(&part_with(&deep, "")).contains("more than 100 deep"));
}

#[test]
fn depth_is_limited_alike_in_each_way() {
    let text = one(&bar(&note(
        "C5",
        4,
        "<voice>1</voice><notations><articulations><accent/></articulations></notations>",
    )));
    let mut limits = Limits::USUAL;
    for depth in 1..10 {
        limits.set("depth", depth);
        // <score-partwise> <part> <measure> <note> <notations> <articulations> <accent>
        let read = read_text_within(&text, limits);
        assert_eq!(read.is_ok(), depth >= 7, "{depth}");
    }
}

#[test]
fn a_bracket_in_a_value_ends_no_tag() {
    for value in [
        r#""a > b""#,
        r#"">""#,
        r#""/>""#,
        r#""'>'""#,
        r#""" b=">""#,
        "'a > b'",
        "'>'",
        "'/>'",
        r#"'">"'"#,
        r#"'"' b='>"'"#,
    ] {
        let note = format!(
            "<note a={value}><pitch><step a={value}>D</step><octave a={value}>4</octave></pitch>\
             <duration a={value}>2</duration><tie a={value} type=\"start\"/><voice a={value}>3</voice>\
             <dot a={value}/><accidental a={value}>flat</accidental><staff a={value}>2</staff>\
             <notations a={value}><slur a={value} type=\"start\"/></notations></note>"
        );
        let part = score(&one(&bar(&note))).parts.remove(0);
        let [note] = part.notes.as_slice() else {
            panic!("{value}: one note was written")
        };
        let flags = NoteFlags::TIED_OUT.with(NoteFlags::SLUR_START);
        assert_eq!(
            (note.written.to_string(), note.duration, note.flags),
            ("D4".to_owned(), Ticks(2), flags),
            "{value}"
        );
        assert_eq!((note.voice, note.staff), (3, 2), "{value}");
        assert_eq!(*part.accidentals, [note.span], "{value}");
    }
}

#[test]
fn plain_elements_are_read_as_all_others_are() {
    // Each voice as it may be written: without events, and in ways that need them.
    let with = |voice: &str| one(&bar(&note("C5", 4, &format!("{voice}<staff>1</staff>"))));
    for written in [
        "<voice>2</voice>",
        " \r\n\t<voice>2</voice>",
        "<voice >2</voice>",
        "<voice>2</voice >",
        "<voice a='>'>2</voice>",
        "<voice>&#50;</voice>",
        "<voice><!-- two -->2</voice>",
        "<voice><![CDATA[2]]></voice>",
        "<voice>\r2\r</voice>",
        "<voice>2<b/></voice>",
        "<voice>2</voice><b/><b></b><b><c>4</c></b>",
    ] {
        let notes = score(&with(written)).parts.remove(0).notes;
        let found: Vec<(u8, u8)> = notes.iter().map(|n| (n.voice, n.staff)).collect();
        assert_eq!(found, [(2, 1)], "{written}");
    }
    for wrong in [
        "</>",
        "<>",
        "<b></c>",
        "<b>",
        "</b>",
        "<b>&c;</b>",
        "<b><c></b></c>",
    ] {
        assert!(read_text(&with(wrong)).is_err(), "{wrong} was read");
    }
}

#[test]
fn attributes_may_be_written_in_any_way() {
    let with = |tie: &str| one(&bar(&note("C5", 4, &format!("<tie{tie}/>"))));
    for (written, tied) in [
        (" type=\"start\"", true),
        (" a=\"b\" type=\"start\"", true),
        (" a=\"type\" type=\"start\" b=\"\"", true),
        ("  a='\"' type = 'start'", true),
        ("\ntype=\"start\" ", true),
        (" type=\"&#115;tart\"", true),
        (" a=\"&lt;\" type=\"start\"", true),
        (" type=\"start\" type=\"stop\"", true),
        (" A.b:c=\"1\" type=\"start\"", true),
        (" types=\"start\"", false),
        (" type=\"\"", false),
        (" a=\" type='start'\"", false),
        ("", false),
    ] {
        let notes = score(&with(written)).parts.remove(0).notes;
        let found = notes.iter().any(|n| n.flags.has(NoteFlags::TIED_OUT));
        assert_eq!(found, tied, "{written}");
    }
    for wrong in [
        " =\"b\"",
        " a=\"b\" =\"start\"",
        " type",
        " type=",
        " type=start",
        " type=\"&start;\"",
    ] {
        assert!(read_text(&with(wrong)).is_err(), "{wrong} was read");
    }
}

#[test]
fn what_is_usual_in_a_note_may_be_written_in_any_way_and_order() {
    let step = "<step>F</step>";
    let notes = [
        format!(
            "<pitch>{step}<alter>1</alter><octave>4</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type><stem>up</stem>"
        ),
        format!(
            "<pitch><octave>4</octave><alter>-1</alter>{step}</pitch><voice>2</voice><duration>1</duration><type>quarter</type>"
        ),
        format!(
            "<pitch><alter>-1</alter><octave>5</octave>{step}</pitch><duration>1</duration><type>quarter</type><voice>2</voice>"
        ),
        format!(
            "<pitch>{step}<octave>5</octave></pitch><duration>1</duration><stem>up</stem><duration>2</duration><voice>1</voice><voice>x</voice>"
        ),
        format!("<pitch>{step}<octave>5</octave><octave>3</octave></pitch><type>half</type><dot/>"),
        format!(
            "<pitch>{step}<alter>0.0</alter><octave> 3 </octave></pitch><duration>1.0</duration><voice> 1 </voice>"
        ),
        format!(
            "<chord/><pitch>{step}<octave>2</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type><dot/><dot/><accidental>natural</accidental><stem>up</stem><staff>0</staff>"
        ),
        "<rest/><duration>1</duration><voice>200</voice><type>quarter</type><dot/><staff>2</staff>"
            .to_owned(),
        "<rest><display-step>B</display-step></rest><voice>3</voice><duration>1</duration>"
            .to_owned(),
        format!(
            "<pitch>{step}<octave>4</octave></pitch><duration>1</duration><tie type=\"stop\"/><tie type=\"start\"/><voice>1</voice><type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification><stem>up</stem><notehead>x</notehead><staff>1</staff><beam number=\"1\">begin</beam><beam number=\"2\">begin</beam><notations><tied type=\"stop\"/><tied type=\"start\"/><slur number=\"2\" type=\"start\"/><tuplet type=\"start\"/><articulations><accent/><strong-accent/></articulations><fermata/></notations>"
        ),
        format!(
            "<pitch>{step}<octave>4</octave></pitch><duration>1</duration><voice>1</voice><beam number=\"1\">end</beam><notations><slur type=\"stop\" number=\"2\"/><articulations/><articulations><staccato/></articulations><dynamics><f/></dynamics></notations><notations><slur type=\"stop\"/><articulations><tenuto/></articulations></notations><tie type=\"continue\"/>"
        ),
        "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched><duration>1</duration><voice>1</voice><notehead>normal</notehead><notations><tied type=\"start\"/></notations>"
            .to_owned(),
    ];
    let plain = format!("<note>{}</note>", notes.join("</note><note>"));
    let read = |notes: &str| {
        let mut part = score(&one(&bar(notes))).parts.remove(0);
        part.notes.iter_mut().for_each(|n| n.span = Span::default());
        part.rests.iter_mut().for_each(|r| r.span = Span::default());
        let signs = (part.accidentals.len(), part.dynamics.len(), part.unpitched);
        (part.notes, part.rests, signs, part.staves)
    };
    let found = read(&plain);
    let pitches: Vec<String> = found.0.iter().map(|n| n.written.to_string()).collect();
    assert_eq!(
        pitches,
        ["F#4", "Fb4", "Fb5", "F5", "F3", "F3", "F2", "F4", "F4"]
    );
    let voices: Vec<u8> = found.0.iter().map(|n| n.voice).collect();
    assert_eq!(voices, [1, 2, 2, 201, 1, 1, 1, 1, 1]);
    let [.., first, second] = found.0.as_slice() else {
        panic!("there are nine notes")
    };
    let tied = NoteFlags::TIED_IN.with(NoteFlags::TIED_OUT);
    assert_eq!(
        (first.flags, second.flags),
        (
            tied.with(NoteFlags::GHOST).with(NoteFlags::SLUR_START),
            tied.with(NoteFlags::SLUR_STOP)
        )
    );
    assert_eq!(
        (first.articulations, second.articulations),
        (
            Articulations::ACCENT
                .with(Articulations::MARCATO)
                .with(Articulations::FERMATA),
            Articulations::STACCATO.with(Articulations::TENUTO)
        )
    );
    assert_eq!(
        found
            .0
            .iter()
            .filter(|n| n.flags.has(NoteFlags::CHORD_MEMBER))
            .count(),
        1
    );
    assert_eq!((found.1.len(), found.2, found.3), (2, (1, 1, 1), 2));
    for name in [
        "pitch",
        "step",
        "alter",
        "octave",
        "duration",
        "voice",
        "type",
        "stem",
        "rest",
        "accidental",
        "staff",
        "time-modification",
        "notehead",
        "beam number=\"1\"",
        "beam number=\"2\"",
        "notations",
        "articulations",
        "unpitched",
        "display-octave",
    ] {
        let tag = format!("<{name}>");
        for other in [
            format!("<{name} >"),
            format!("<{name} a='>'>"),
            format!("\n  {tag}"),
            format!("<!-- -->{tag}"),
        ] {
            assert_eq!(read(&plain.replace(&tag, &other)), found, "{other}");
        }
    }
    for name in [
        "chord",
        "rest",
        "dot",
        "tie type=\"start\"",
        "tie type=\"stop\"",
        "tied type=\"start\"",
        "tied type=\"stop\"",
        "slur number=\"2\" type=\"start\"",
        "slur type=\"stop\"",
        "fermata",
        "strong-accent",
        "staccato",
        "articulations",
    ] {
        let element = name.split(' ').next().unwrap();
        for other in [
            format!("<{name} />"),
            format!("<{name}></{element}>"),
            format!("<{name} a='/>'/>"),
            format!("\n<{name}>\n</{element}>"),
            format!("<?a b?><{name}/><b c=\"d\"/>").replace("type=\"st", "type=\"&#115;t"),
        ] {
            let written = plain.replace(&format!("<{name}/>"), &other);
            assert_eq!(read(&written), found, "{other}");
        }
    }
    for (right, wrong) in [
        ("<step>F", "<step>H"),
        ("<alter>1", "<alter>4"),
        ("<octave>4", "<octave>40"),
        ("<octave>4", "<octave>400"),
        ("<duration>1<", "<duration>-1<"),
    ] {
        let text = one(&bar(&plain.replacen(right, wrong, 1)));
        let error = read_text(&text).unwrap_err();
        assert_eq!(
            error.at.unwrap().start,
            text.find(wrong).unwrap(),
            "{wrong}"
        );
    }
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
fn slurs_with_one_end_are_kept_apart() {
    use crate::score::LooseSlur;
    let slur = |ends: &[(&str, u8)]| {
        let marks = ends.iter().fold(String::new(), |all, (end, n)| {
            all + &format!("<slur type=\"{end}\" number=\"{n}\"/>")
        });
        format!("<notations>{marks}</notations>")
    };
    let text = one(&bar(&format!(
        "{}{}{}{}",
        note("C5", 1, &slur(&[("start", 1)])),
        // An end and a start on one note, the start first in the file.
        note("D5", 1, &slur(&[("start", 1), ("stop", 1)])),
        note("E5", 1, &slur(&[("stop", 1), ("stop", 2)])),
        note("F5", 1, &slur(&[("start", 3)])),
    )));
    let loose: Vec<(i64, LooseSlur)> = score(&text).parts[0]
        .loose_slurs
        .iter()
        .map(|m| (m.onset.0, m.value))
        .collect();
    assert_eq!(loose, [(2, LooseSlur::Stop), (3, LooseSlur::Start)]);
    // The first is never closed, the second is: the first is the loose one.
    let text = one(&bar(&format!(
        "{}{}{}",
        note("C5", 1, &slur(&[("start", 1)])),
        note("D5", 1, &slur(&[("start", 1)])),
        note("E5", 2, &slur(&[("stop", 1)])),
    )));
    let score = score(&text);
    let loose = &score.parts[0].loose_slurs;
    assert_eq!(loose.len(), 1);
    assert_eq!(loose[0].onset.0, 0);
}

#[test]
fn printed_accidentals_are_remembered() {
    let text = one(&bar(&format!(
        "{}{}",
        note("C#5", 1, "<accidental>sharp</accidental>"),
        note("C#5", 1, "")
    )));
    let score = score(&text);
    let part = &score.parts[0];
    assert_eq!(*part.accidentals, [part.notes[0].span]);
}

#[test]
fn bars_without_a_meter_and_layers_that_stop_short() {
    let free = "<attributes><time><senza-misura/></time></attributes>";
    let text = one(&(bar(&format!("{free}{}", note("C5", 7, "")))
        + &bar(&format!(
            "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>{}\
             <backup><duration>4</duration></backup>{}",
            note("C5", 4, "<voice>1</voice>"),
            note("E4", 3, "<voice>2</voice>")
        ))
        + &bar(&format!(
            "{}<backup><duration>4</duration></backup>{}<forward><duration>1</duration></forward>",
            note("C5", 4, "<voice>1</voice>"),
            note("E4", 3, "<voice>2</voice>")
        ))));
    let score = score(&text);
    let bars = &score.parts[0].bars;
    assert!(bars[0].unmeasured && !bars[1].unmeasured);
    assert_eq!(bars[1].short_voice, Some((2, Ticks(3))));
    assert_eq!(bars[2].short_voice, None);
}
