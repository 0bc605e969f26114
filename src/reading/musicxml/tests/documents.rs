//! Whole documents, their parts, and those that are refused.

use super::*;
use crate::ground::time::Ticks;

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
