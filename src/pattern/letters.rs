//! Which piece gets which letter.

/// Letters that cannot be taken for a figure: no I, no O.
const ALPHABET: &[u8; 24] = b"ABCDEFGHJKLMNPQRSTUVWXYZ";

/// A letter for each piece: the pinned ones as they are, the others in order through A … Z, AA, AB …, never twice.
///
/// A pinned letter stays whatever pieces are added before it; the free ones close up around it.
pub fn letters(pinned: &[Option<&str>]) -> Vec<String> {
    let mut free = (0..).map(nth).filter(|letter| !pinned.contains(&Some(letter.as_str())));
    pinned
        .iter()
        .map(|pin| match pin {
            Some(letter) => (*letter).to_owned(),
            None => free.next().expect("there is no last letter"),
        })
        .collect()
}

/// The `n`th letter, counting from 0.
fn nth(n: usize) -> String {
    let (before, last) = (n / ALPHABET.len(), n % ALPHABET.len());
    let mut letters = if before == 0 { String::new() } else { nth(before - 1) };
    letters.push(char::from(ALPHABET[last]));
    letters
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn i_and_o_are_skipped_and_z_is_followed_by_aa() {
        let all = letters(&[None; 26]);
        assert_eq!(all.concat(), "ABCDEFGHJKLMNPQRSTUVWXYZAAAB");
    }

    #[test]
    fn pinned_letters_stay_and_are_given_to_no_other_piece() {
        assert_eq!(letters(&[None, Some("A"), None, Some("C")]), ["B", "A", "D", "C"]);
        assert_eq!(letters(&[None, None, Some("A"), None, Some("C")]), ["B", "D", "A", "E", "C"]);
    }

    #[test]
    fn no_letter_is_given_twice() {
        let mut all = letters(&[None; 700]);
        all.sort();
        all.dedup();
        assert_eq!(all.len(), 700);
        assert!(all.iter().all(|letter| !letter.contains(['I', 'O'])));
    }
}
