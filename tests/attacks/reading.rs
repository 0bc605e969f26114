//! Nothing is read without end: only ordinary files, within a limit, and no lines of a stranger's file shown.
