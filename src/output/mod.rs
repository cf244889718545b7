//! Drawings → bytes. Same input, same bytes.
