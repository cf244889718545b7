//! Arguments → calls, messages, exit codes.
