//! Nothing of a repository is run or written by `--since`.
