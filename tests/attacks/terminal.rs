//! No name or text of a score steers a terminal, a build server or a reader of JSON.
