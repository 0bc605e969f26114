//! Archives: overlapping entries, entries beyond the file, more bytes out than the limit.

use crate::hostile::run;
use chartproof::inside::file_text::container;
use std::ffi::OsStr;
use std::fs;

const SCORE: &str = "<score-partwise><part-list><score-part id=\"P1\"><part-name>Flute</part-name>\
    </score-part></part-list><part id=\"P1\"><measure number=\"1\"><attributes><divisions>1</divisions>\
    </attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>\
    </measure></part></score-partwise>";

const CONTENTS: &str =
    "<container><rootfiles><rootfile full-path=\"s.xml\"/></rootfiles></container>";

/// Where data lies that the list of entries tells of.
#[derive(Clone, Copy)]
struct Stored {
    at: usize,
    length: usize,
    crc: u32,
}

/// A container made byte by byte (the layout is that of the published ZIP format, APPNOTE 6.3).
#[derive(Default)]
struct Made {
    bytes: Vec<u8>,
    list: Vec<u8>,
    count: usize,
}

impl Made {
    /// One with a score in it that can be read.
    fn with_score() -> Self {
        let mut made = Self::default();
        for (name, text) in [("META-INF/container.xml", CONTENTS), ("s.xml", SCORE)] {
            let stored = made.store(name, text.as_bytes());
            made.tell(name, stored);
        }
        made
    }

    fn store(&mut self, name: &str, data: &[u8]) -> Stored {
        let stored = Stored {
            at: self.bytes.len(),
            length: data.len(),
            crc: crc(data),
        };
        self.bytes.extend(b"PK\x03\x04\x14\0\0\0\0\0\0\0\0\0");
        self.bytes.extend(stored.crc.to_le_bytes());
        self.bytes
            .extend([data.len() as u32; 2].map(u32::to_le_bytes).concat());
        self.bytes
            .extend([name.len() as u16, 0].map(u16::to_le_bytes).concat());
        self.bytes.extend(name.bytes());
        self.bytes.extend(data);
        stored
    }

    /// Lists an entry, wherever its data is.
    fn tell(&mut self, name: &str, stored: Stored) {
        self.list.extend(b"PK\x01\x02\x14\0\x14\0\0\0\0\0\0\0\0\0");
        self.list.extend(stored.crc.to_le_bytes());
        self.list
            .extend([stored.length as u32; 2].map(u32::to_le_bytes).concat());
        self.list.extend((name.len() as u16).to_le_bytes());
        self.list.extend([0; 12]);
        self.list.extend((stored.at as u32).to_le_bytes());
        self.list.extend(name.bytes());
        self.count += 1;
    }

    fn end(&self) -> Vec<u8> {
        let mut end = b"PK\x05\x06\0\0\0\0".to_vec();
        end.extend(
            [self.count.min(0xFFFF) as u16; 2]
                .map(u16::to_le_bytes)
                .concat(),
        );
        end.extend((self.list.len() as u32).to_le_bytes());
        end.extend((self.bytes.len() as u32).to_le_bytes());
        end.extend([0; 2]);
        end
    }

    fn finish(self) -> Vec<u8> {
        let end = self.end();
        [self.bytes, self.list, end].concat()
    }

    /// The same with the 64-bit extension, which claims so many entries.
    fn finish_with(self, claimed: u64) -> Vec<u8> {
        let (at, length) = (self.bytes.len() as u64, self.list.len() as u64);
        let mut more = b"PK\x06\x06".to_vec();
        more.extend(44_u64.to_le_bytes());
        more.extend([45, 0, 45, 0, 0, 0, 0, 0, 0, 0, 0, 0]);
        more.extend(
            [claimed, claimed, length, at]
                .map(u64::to_le_bytes)
                .concat(),
        );
        more.extend(b"PK\x06\x07\0\0\0\0");
        more.extend((at + length).to_le_bytes());
        more.extend(1_u32.to_le_bytes());
        let mut end = self.end();
        end[8..20].fill(0xFF);
        [self.bytes, self.list, more, end].concat()
    }
}

/// The checksum of ZIP (CRC-32 of ISO 3309, computed from its polynomial).
fn crc(data: &[u8]) -> u32 {
    !data.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            (crc >> 1) ^ (0xEDB8_8320 & 0_u32.wrapping_sub(crc & 1))
        })
    })
}

/// Every command that reads it refuses it in the same words, and nothing is written.
fn refused(what: &str, bytes: &[u8], words: &str) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("x.mxl");
    let into = folder.path().join("into");
    fs::write(&file, bytes).unwrap();
    let (file, into) = (file.as_os_str(), into.as_os_str());
    for command in [
        &[OsStr::new("proof"), file][..],
        &[OsStr::new("analysis"), file],
        &[OsStr::new("correct"), file, OsStr::new("--into"), into],
        &[OsStr::new("mark"), file, OsStr::new("--into"), into],
    ] {
        let answer = run(command);
        let said = answer.all();
        let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(answer.code, 2, "{what}, {command:?}: {said}");
        assert!(flat.contains(words), "{what}, {command:?}: {said}");
        assert!(said.len() < 2_000, "{what}: {said}");
    }
    let written = fs::read_dir(into).into_iter().flatten().count();
    assert_eq!(written, 0, "{what}");
    // Nor is there a way round for what has such a file in hand.
    let copy = container::replace(bytes, "s.xml", [SCORE.as_bytes()]);
    assert!(copy.is_err(), "{what}");
}

const TWICE: &str = "entries that overlap each other or reach into its list";

#[test]
fn a_container_made_by_hand_is_read() {
    let made = [
        Made::with_score().finish(),
        Made::with_score().finish_with(2),
    ];
    let prefixed = [b"#!/bin/sh\n".as_slice(), &made[0]].concat();
    let tailed = [&made[0], b"a tail".as_slice()].concat();
    for bytes in made.into_iter().chain([prefixed, tailed]) {
        let (name, score) = container::open(&bytes).unwrap();
        assert_eq!(
            (name.as_str(), score.as_slice()),
            ("s.xml", SCORE.as_bytes())
        );
        let longer = SCORE.replace("Flute", "Flute 1");
        let copy = container::replace(&bytes, "s.xml", [longer.as_bytes()]).unwrap();
        assert_eq!(container::open(&copy).unwrap().1, longer.as_bytes());
        assert!(copy.len() <= bytes.len() + longer.len());
    }
}

#[test]
fn entries_on_one_piece_of_data_are_not_copied_out_again_and_again() {
    let mut made = Made::with_score();
    let blanks = made.store("00000", &vec![0; 60_000]);
    for i in 0..1_000 {
        made.tell(&format!("{i:05}"), blanks);
    }
    refused("a thousand names of one entry", &made.finish(), TWICE);
}

#[test]
fn entries_that_share_bytes_are_refused() {
    // On one local header, without any data of their own.
    let mut made = Made::with_score();
    let empty = made.store("0", b"");
    made.tell("0", empty);
    made.tell("1", empty);
    refused("two names of nothing", &made.finish(), TWICE);

    // Inside of another: the data of the outer one is an entry.
    let mut inner = Made::default();
    let within = inner.store("1", &[b' '; 100]);
    let mut made = Made::with_score();
    let outer = made.store("0", &inner.bytes);
    made.tell("0", outer);
    let start = outer.at + 30 + 1;
    made.tell(
        "1",
        Stored {
            at: start + within.at,
            ..within
        },
    );
    refused("one inside another", &made.finish(), TWICE);

    // The score itself, by another name.
    let mut made = Made::default();
    for (name, text) in [("META-INF/container.xml", CONTENTS), ("s.xml", SCORE)] {
        let stored = made.store(name, text.as_bytes());
        made.tell(name, stored);
        made.tell(&format!("{name}.png"), stored);
    }
    refused("the score by two names", &made.finish(), TWICE);

    // Over the next one's header.
    let mut made = Made::with_score();
    let first = made.store("0", &[b' '; 100]);
    let second = made.store("1", &[b' '; 100]);
    let length = first.length + 40;
    made.tell("0", Stored { length, ..first });
    made.tell("1", second);
    refused("over the next", &made.finish(), TWICE);

    // Over the list of entries, and over the end of the file.
    for more in [1, 60_000, 0xFFFF_0000] {
        let mut made = Made::with_score();
        let last = made.store("0", b"data");
        made.tell(
            "0",
            Stored {
                length: last.length + more,
                ..last
            },
        );
        refused("into the list", &made.finish(), TWICE);
    }
}

#[test]
fn entries_that_are_not_there_are_refused() {
    for at in [0xFFFF_0000, 1_000_000, 7] {
        let mut made = Made::with_score();
        let there = made.store("0", b"data");
        made.tell("0", Stored { at, ..there });
        refused("beyond the end", &made.finish(), "not a valid zip file");
    }
    // The list tells of itself.
    let mut made = Made::with_score();
    let there = made.store("0", b"data");
    let at = made.bytes.len();
    made.tell("0", Stored { at, ..there });
    refused("the list itself", &made.finish(), "not a valid zip file");
}

#[test]
fn two_entries_of_one_name_are_refused() {
    let mut made = Made::with_score();
    let other = SCORE.replace("Flute", "Oboe");
    let stored = made.store("s.xml", other.as_bytes());
    made.tell("s.xml", stored);
    refused("two scores", &made.finish(), "two entries of one name");
}

#[test]
fn more_entries_than_are_read_are_refused_before_room_is_made_for_them() {
    for claimed in [70_000, 1 << 40, u64::MAX] {
        let words = format!("lists {claimed} entries, and at most 65535 are read");
        refused("claims", &Made::with_score().finish_with(claimed), &words);
    }
    let mut made = Made::with_score();
    for i in 0..70_000 {
        let stored = made.store(&i.to_string(), b"");
        made.tell(&i.to_string(), stored);
    }
    let count = made.count as u64;
    refused("really", &made.finish_with(count), "at most 65535");
}

/// Remarks of entries may be in an encoding whose letters take more bytes in a copy.
#[test]
fn a_copy_is_no_larger_than_the_file_and_what_is_new() {
    let mut made = Made::with_score();
    let length = 20_000;
    for i in 0..20 {
        let name = i.to_string();
        let stored = made.store(&name, b"");
        let from = made.list.len();
        made.tell(&name, stored);
        made.list[from + 32..from + 34].copy_from_slice(&(length as u16).to_le_bytes());
        made.list.extend(vec![0x9C; length]);
    }
    let bytes = made.finish();
    assert!(container::open(&bytes).is_ok());
    let refused = container::replace(&bytes, "s.xml", [SCORE.as_bytes()]).unwrap_err();
    assert!(
        refused.to_string().contains("a copy of the container"),
        "{refused}"
    );
}

/// An entry may have a remark, or fields of other programs, that are too long to be written again.
#[test]
fn a_score_whose_container_cannot_be_copied_is_no_invalid_zip_file() {
    let field = [0xBEEF, 65_526].map(u16::to_le_bytes).concat();
    let field = [field, vec![0; 65_526]].concat();
    for (length_at, more) in [(30, field), (32, vec![0x9C; 65_535])] {
        let mut made = Made::with_score();
        let beside = made.store("0", b"some data of it");
        let from = made.list.len();
        made.tell("0", beside);
        made.list[from + length_at..][..2].copy_from_slice(&(more.len() as u16).to_le_bytes());
        made.list.extend(more);
        let bytes = made.finish();
        assert_eq!(container::open(&bytes).unwrap().0, "s.xml");
        let refused = container::replace(&bytes, "s.xml", [SCORE.as_bytes()]).unwrap_err();
        let said = refused.to_string();
        let words = "the score can be read, but the entry `0` beside it cannot be copied";
        assert!(said.contains(words), "{said}");
    }
}

#[test]
fn a_table_of_contents_without_end_is_refused_and_no_limit_advised() {
    let mut made = Made::default();
    let contents = format!("{CONTENTS}<!--{}-->", "x".repeat(1 << 20));
    for (name, text) in [("META-INF/container.xml", &*contents), ("s.xml", SCORE)] {
        let stored = made.store(name, text.as_bytes());
        made.tell(name, stored);
    }
    let said = container::open(&made.finish()).unwrap_err().to_string();
    let words = "unpacks to more than 1048576 bytes, the most that is read";
    assert!(said.contains(words) && !said.contains("--limit"), "{said}");
}
