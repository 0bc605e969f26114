//! The report as SARIF 2.1.0, an open standard for results of checks: one run, with the rules, the
//! files, and every finding, those that do not count among them with the reason.
//!
//! Units: lines and columns are 1-based, columns in Unicode code points (`columnKind`), the end
//! exclusive; `charOffset` and `charLength` count code points of the text, a byte order mark not
//! counted. Paths of files are relative to the current folder (`ROOT`), percent-encoded; a score
//! inside a compressed file is an artifact of its own with that file as its parent. Bars, beats and
//! pitches stand in the `properties` of a result, with the names and units of the JSON report.

mod artifacts;
mod characters;
mod log;
mod results;
mod rules;

use super::ProofedFile;
use crate::ground::problem::Problem;
use crate::ground::shown::shown_json;
use artifacts::{Artifacts, ROOT, ScoreArtifacts};
use log::{
    Driver, Invocation, Location, Log, Message, Notification, PhysicalLocation, Region, Run, Tool,
    UriBase,
};
use std::collections::BTreeMap;

/// The log as one JSON document, with a line feed at its end. `compared` says that findings were
/// compared with those of a revision: each then is `new` or `unchanged`.
///
/// # Errors
///
/// When the log cannot be serialised.
pub fn render(entries: &[ProofedFile], compared: bool) -> Result<String, serde_json::Error> {
    let here = crate::ground::disk::here();
    let mut artifacts = Artifacts::below(here);
    let mut descriptors = rules::shipped();
    let mut results = Vec::new();
    let mut notifications = Vec::new();
    for entry in entries {
        let (score, proofed) = match &entry.outcome {
            Ok(read) => read,
            Err(error) => {
                notifications.push(unreadable(error, &mut artifacts));
                continue;
            }
        };
        let files = ScoreArtifacts::of(score, &mut artifacts);
        for remark in &proofed.remarks {
            notifications.push(Notification {
                level: "note",
                message: Message::new(remark),
                locations: files.whole().into_iter().collect(),
            });
        }
        for reported in entry.all() {
            let index = rules::index_of(&mut descriptors, reported.finding);
            results.push(results::result(&files, &reported, index, compared));
        }
    }
    let log = Log {
        schema: "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        version: "2.1.0",
        runs: [Run {
            tool: Tool {
                driver: Driver {
                    name: "chartproof",
                    version: env!("CARGO_PKG_VERSION"),
                    semantic_version: env!("CARGO_PKG_VERSION"),
                    language: "en",
                    short_description: Message {
                        text: "A proofreader that reads section parts vertically.".to_owned(),
                    },
                    rules: descriptors,
                },
            },
            invocations: [Invocation {
                execution_successful: entries.iter().all(|e| e.outcome.is_ok()),
                tool_execution_notifications: notifications,
            }],
            original_uri_base_ids: BTreeMap::from([(
                ROOT,
                UriBase {
                    description: Message {
                        text: "The folder that chartproof was run in.".to_owned(),
                    },
                },
            )]),
            artifacts: artifacts.into_list(),
            results,
            column_kind: "unicodeCodePoints",
            default_encoding: "UTF-8",
        }],
    };
    let mut text = shown_json(serde_json::to_string_pretty(&log)?);
    text.push('\n');
    Ok(text)
}

/// A file that could not be read.
fn unreadable(error: &Problem, artifacts: &mut Artifacts) -> Notification {
    let message = match &error.help {
        Some(help) => format!("could not be read: {}; {help}", error.message),
        None => format!("could not be read: {}", error.message),
    };
    let region = error.line_column().map(|(line, column)| Region {
        start_line: line,
        start_column: column,
        end_line: None,
        end_column: None,
        char_offset: None,
        char_length: None,
    });
    let artifact_location = artifacts.file(&error.path);
    Notification {
        level: "error",
        message: Message::new(&message),
        locations: vec![Location {
            id: None,
            physical_location: PhysicalLocation {
                artifact_location,
                region,
            },
            logical_locations: Vec::new(),
            message: None,
        }],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::{Grounds, SetAside};
    use crate::report::sample;
    use serde_json::Value;

    fn log(entries: &[ProofedFile], compared: bool) -> Value {
        serde_json::from_str(&render(entries, compared).unwrap()).unwrap()
    }

    #[test]
    fn a_result_has_rule_place_and_fingerprint() {
        let log = log(&[sample::entry(), sample::unreadable()], false);
        let run = &log["runs"][0];
        let result = &run["results"][1];
        assert_eq!(result["ruleId"], "wrong-voice-dropped");
        let index = result["ruleIndex"].as_u64().unwrap() as usize;
        assert_eq!(
            run["tool"]["driver"]["rules"][index]["id"],
            result["ruleId"]
        );
        let place = &result["locations"][0]["physicalLocation"];
        assert_eq!(place["artifactLocation"]["uri"], "quay.musicxml");
        assert_eq!(place["region"]["startLine"], 4);
        assert_eq!(result["suppressions"], serde_json::json!([]));
        assert!(result["baselineState"].is_null());
        assert_eq!(run["invocations"][0]["executionSuccessful"], false);
        let notification = &run["invocations"][0]["toolExecutionNotifications"][1];
        assert_eq!(notification["level"], "error");
        assert_eq!(
            notification["locations"][0]["physicalLocation"]["region"]["startLine"],
            2
        );
    }

    #[test]
    fn what_does_not_count_is_there_with_the_reason() {
        let mut entry = sample::entry();
        if let Ok((_, proofed)) = &mut entry.outcome {
            let grounds = [Grounds::Ledger, Grounds::Revision];
            for (finding, grounds) in proofed.findings.drain(..).zip(grounds) {
                proofed.set_aside.push(SetAside {
                    finding,
                    grounds,
                    reason: Some("as in {1959}".to_owned()),
                    origin: String::new(),
                });
            }
        }
        let log = log(&[entry], true);
        let results = log["runs"][0]["results"].as_array().unwrap();
        let of = |rule: &str| results.iter().find(|r| r["ruleId"] == rule).unwrap();
        let ledger = of("wrong-voice-dropped");
        assert_eq!(ledger["suppressions"][0]["kind"], "external");
        assert_eq!(ledger["suppressions"][0]["justification"], "as in {1959}");
        assert_eq!(ledger["baselineState"], "new");
        let old = of("bar-length");
        assert_eq!(old["suppressions"], serde_json::json!([]));
        assert_eq!(old["baselineState"], "unchanged");
    }
}
