//! Pieces → joined sheets → pages; every point of a piece is printed, and marks pair up.
