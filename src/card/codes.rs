//! The absolute code along the card's edges: one bit a millimetre mark, so that a short window of marks says by itself
//! which card, which edge, which place and which sense it is.
//!
//! The four sequences were found by a seeded search with backtracking, mark by mark. Reading windows of `n` marks in
//! either sense, any two windows anywhere on any of the four edges differ in at least `d` bits:
//! 12 marks, 1 bit; 20 marks, 4 bits; 30 marks, 8 bits. So 30 clear marks still name their place with 3 of them misread,
//! and 7 misread bits never make another valid window. Windows read backwards count as different windows, because a
//! photo turned by half a turn reads an edge backwards and a mirrored photo reads it backwards on its proper side.
//! Any 16 marks hold 5 to 11 ones, and no bit repeats more than 6 times, so that the code track alone shows both kinds.
//! Idea: absolute linear encoders with a chain code; that a chain's windows are kept far apart follows from the
//! Hamming distance of error-correcting codes (R. W. Hamming 1950, Bell Syst. Tech. J. 29, 147; from memory).

/// Full card, top edge, marks 0 to 140 mm.
pub const FULL_TOP: &str = "100010110100111110101001001011000111101011000001001101101000011011010101100010100000111111010000101011101011111000110000001001100101110110110";
/// Full card, bottom edge, marks 0 to 140 mm.
pub const FULL_BOTTOM: &str = "001010100100010011001101001000110011101111010100000100001101110010111110110101010101000100011010001110000111110011110110000110001001101110001";
/// Small card, top edge, marks 0 to 80 mm.
pub const SMALL_TOP: &str = "001010001110011101001111011101100011101001000011110101001101100111000010001101110";
/// Small card, bottom edge, marks 0 to 80 mm.
pub const SMALL_BOTTOM: &str = "001000100111011101000100111101000110010100010010010111100110001101100000101111101";

#[cfg(test)]
mod tests {
    use super::*;

    fn bits(code: &str) -> Vec<u8> {
        code.bytes().map(|b| b - b'0').collect()
    }

    /// Every window of `n` marks, forwards and backwards, of all four edges.
    fn windows(n: usize) -> Vec<Vec<u8>> {
        let mut all = Vec::new();
        for code in [FULL_TOP, FULL_BOTTOM, SMALL_TOP, SMALL_BOTTOM] {
            for window in bits(code).windows(n) {
                all.push(window.to_vec());
                all.push(window.iter().rev().copied().collect());
            }
        }
        all
    }

    fn smallest_distance(n: usize) -> usize {
        let all = windows(n);
        let mut least = n;
        for (i, a) in all.iter().enumerate() {
            for b in &all[i + 1..] {
                least = least.min(a.iter().zip(b).filter(|(x, y)| x != y).count());
            }
        }
        least
    }

    #[test]
    fn windows_keep_the_promised_distances() {
        assert!(smallest_distance(12) >= 1);
        assert!(smallest_distance(20) >= 4);
        assert!(smallest_distance(30) >= 8);
    }

    #[test]
    fn every_sixteen_marks_show_both_kinds() {
        for window in windows(16) {
            let ones = window.iter().filter(|b| **b == 1).count();
            assert!((5..=11).contains(&ones));
        }
    }
}
