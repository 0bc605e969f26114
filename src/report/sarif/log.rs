//! The parts of a SARIF log that the program writes, with the names of the standard.

use crate::report::printable;
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Serialize)]
pub(super) struct Log<'a> {
    #[serde(rename = "$schema")]
    pub schema: &'static str,
    pub version: &'static str,
    pub runs: [Run<'a>; 1],
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Run<'a> {
    pub tool: Tool,
    pub invocations: [Invocation; 1],
    pub original_uri_base_ids: BTreeMap<&'static str, UriBase>,
    pub artifacts: Vec<Artifact>,
    pub results: Vec<RunResult<'a>>,
    pub column_kind: &'static str,
    pub default_encoding: &'static str,
}

#[derive(Serialize)]
pub(super) struct UriBase {
    pub description: Message,
}

#[derive(Serialize)]
pub(super) struct Tool {
    pub driver: Driver,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Driver {
    pub name: &'static str,
    pub version: &'static str,
    pub semantic_version: &'static str,
    pub language: &'static str,
    pub short_description: Message,
    pub rules: Vec<RuleDescriptor>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct RuleDescriptor {
    pub id: String,
    pub short_description: Message,
    pub full_description: Message,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub help: Option<RuleHelp>,
    pub default_configuration: RuleConfiguration,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub properties: Option<RuleProperties>,
}

#[derive(Serialize)]
pub(super) struct RuleConfiguration {
    pub enabled: bool,
    pub level: &'static str,
}

#[derive(Serialize)]
pub(super) struct RuleProperties {
    pub tags: [String; 1],
    pub source: &'static str,
}

#[derive(Serialize)]
pub(super) struct Message {
    pub text: String,
}

impl Message {
    /// A message as the standard wants it: braces doubled, and no accidental link.
    pub(super) fn new(text: &str) -> Self {
        let mut text = printable(text).replace('{', "{{").replace('}', "}}");
        if text.contains("](") {
            text = text
                .replace('\\', "\\\\")
                .replace('[', "\\[")
                .replace(']', "\\]");
        }
        Self { text }
    }
}

#[derive(Serialize)]
pub(super) struct RuleHelp {
    pub text: String,
    pub markdown: String,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Invocation {
    pub execution_successful: bool,
    pub tool_execution_notifications: Vec<Notification>,
}

#[derive(Serialize)]
pub(super) struct Notification {
    pub level: &'static str,
    pub message: Message,
    pub locations: Vec<Location>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Artifact {
    pub location: ArtifactLocation,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parent_index: Option<usize>,
    pub roles: [&'static str; 1],
}

/// The location of an artifact.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct ArtifactLocation {
    pub uri: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uri_base_id: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index: Option<usize>,
}

/// A place in an artifact.
#[allow(clippy::struct_field_names, reason = "the names of the standard")]
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Location {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<usize>,
    pub physical_location: PhysicalLocation,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub logical_locations: Vec<LogicalLocation>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub message: Option<Message>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct PhysicalLocation {
    pub artifact_location: ArtifactLocation,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub region: Option<Region>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Region {
    pub start_line: usize,
    pub start_column: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub end_line: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub end_column: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub char_offset: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub char_length: Option<usize>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct LogicalLocation {
    pub name: String,
    pub fully_qualified_name: String,
    pub kind: &'static str,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct RunResult<'a> {
    pub rule_id: &'a str,
    pub rule_index: usize,
    pub level: &'static str,
    pub message: Message,
    pub locations: Vec<Location>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub related_locations: Vec<Location>,
    pub partial_fingerprints: BTreeMap<&'static str, String>,
    pub suppressions: Vec<Suppression>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub baseline_state: Option<&'static str>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub fixes: Vec<Fix>,
    pub properties: MusicProperties<'a>,
}

#[derive(Serialize)]
pub(super) struct Suppression {
    pub kind: &'static str,
    pub status: &'static str,
    pub justification: String,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Fix {
    pub description: Message,
    pub artifact_changes: Vec<ArtifactChange>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct ArtifactChange {
    pub artifact_location: ArtifactLocation,
    pub replacements: Vec<Replacement>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Replacement {
    pub deleted_region: Region,
    pub inserted_content: Message,
}

/// The properties that only music has, with the names and units of the JSON report.
#[derive(Serialize)]
pub(super) struct MusicProperties<'a> {
    pub section: Option<&'a str>,
    pub parts: Vec<&'a str>,
    pub bar: String,
    pub bar_index: u64,
    pub beat: f64,
    pub chord: Option<&'a str>,
    pub technique: Option<&'a str>,
    pub found: Vec<String>,
    pub expected: Vec<String>,
    pub why: &'a str,
    pub source: &'a str,
    pub suggestion: Option<&'a str>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_hold_no_placeholders_links_or_control_characters() {
        assert_eq!(Message::new("{0} \u{1b}[1m").text, "{{0}} \u{fffd}[1m");
        assert_eq!(Message::new("[a](1)").text, "\\[a\\](1)");
        assert_eq!(Message::new("Alto [solo]").text, "Alto [solo]");
    }
}
