//! Notes and rests: pitches, lengths, ties, marks.

use super::*;
use crate::ground::pitch::Transposition;
use crate::ground::time::Ticks;
use crate::score::{Articulations, NoteFlags};

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
fn an_octave_of_the_clef_and_of_the_transposition_counts_once() {
    let head = |clef_octave: i8| {
        format!(
            "<attributes><divisions>1</divisions><clef><sign>G</sign><line>2</line>\
             <clef-octave-change>{clef_octave}</clef-octave-change></clef><transpose>\
             <chromatic>0</chromatic><octave-change>-1</octave-change></transpose></attributes>"
        )
    };
    let heard = |clef_octave, pitch| {
        let text = one(&bar(&format!(
            "{}{}",
            head(clef_octave),
            note(pitch, 4, "")
        )));
        let score = score(&text);
        let part = &score.parts[0];
        (sounding(part).join(" "), part.octave_counted_once)
    };
    // About the staff of a tenor's clef the notes sound as they stand.
    assert_eq!(heard(-1, "C4"), ("C4".to_owned(), true));
    // About the plain staff the clef is only a label.
    assert_eq!(heard(-1, "C5"), ("C4".to_owned(), false));
    assert_eq!(heard(0, "C4"), ("C3".to_owned(), false));
}

#[test]
fn words_under_notes_are_counted() {
    let lyric = "<lyric><text>la</text></lyric>";
    let notes = [note("C4", 2, lyric), note("D4", 2, "")].concat();
    assert_eq!(score(&one(&bar(&notes))).parts[0].lyrics, 1);
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
        "{}{}{}{}{}",
        note("C5", 1, "<voice>up</voice>"),
        note("D5", 1, "<voice>down</voice>"),
        note("E5", 1, "<voice>up</voice>"),
        note("F5", 1, "<voice>7</voice>"),
        note("G5", 1, "<voice>220</voice>")
    ))));
    let v: Vec<u8> = s.parts[0].notes.iter().map(|n| n.voice).collect();
    assert_eq!(v[0], v[2]);
    assert_ne!(v[0], v[1]);
    assert_eq!(v[3], 7);
    // So high a number is a name: the numbers from 201 on are given to those.
    assert_eq!(v[4], v[1] + 1);
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
fn beside_a_duration_the_shape_is_not_looked_at() {
    let s = score(&one(&bar(&note(
        "C4",
        2,
        "<type>slow</type><dot/><time-modification><actual-notes>x</actual-notes>\
         <normal-notes>2</normal-notes></time-modification>",
    ))));
    assert_eq!(times(&s.parts[0]), [(0, 2)]);
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
fn a_whole_bar_of_rest_is_as_long_as_the_meter_says() {
    let text = one(&bar(
        "<attributes><divisions>2</divisions><time><beats>3</beats>\
         <beat-type>4</beat-type></time></attributes><note><rest measure=\"yes\"/></note>",
    ));
    let rest = score(&text).parts[0].rests[0];
    assert_eq!((rest.duration, rest.whole_bar), (Ticks(6), true));
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
fn drums_are_counted() {
    let s = score(&one(&bar(&format!(
        "<note><unpitched><display-step>E</display-step></unpitched><duration>2</duration></note>{}",
        note("C5", 2, "")
    ))));
    assert_eq!(s.parts[0].unpitched, 1);
    assert_eq!(times(&s.parts[0]), [(2, 2)]);
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
