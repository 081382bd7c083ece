//! Systems of linear equations, as fits by least squares lead to.

/// Solves `N` equations by elimination with partial pivoting. Each row holds its `N` factors and behind them
/// the right side, so that `W` is `N + 1`. Where there is no one solution the values are not finite.
#[must_use]
pub fn solve<const N: usize, const W: usize>(mut m: [[f64; W]; N]) -> [f64; N] {
    const { assert!(W == N + 1, "a row holds the factors and the right side") };
    for column in 0..N {
        let pivot = (column..N)
            .max_by(|a, b| m[*a][column].abs().total_cmp(&m[*b][column].abs()))
            .expect("the range is not empty");
        m.swap(column, pivot);
        let pivot_row = m[column];
        for row in &mut m[column + 1..] {
            let factor = row[column] / pivot_row[column];
            for (value, pivot) in row.iter_mut().zip(pivot_row) {
                *value -= factor * pivot;
            }
        }
    }
    let mut x = [0.0; N];
    for row in (0..N).rev() {
        let known: f64 = (row + 1..N).map(|k| m[row][k] * x[k]).sum();
        x[row] = (m[row][N] - known) / m[row][row];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    // Solved by hand; the first system cannot be solved without changing rows.
    #[test]
    fn the_solution_solves() {
        assert_eq!(solve([[0.0, 1.0, 2.0], [1.0, 0.0, 3.0]]).map(f64::to_bits), [3.0, 2.0].map(f64::to_bits));
        let found = solve([[2.0, 1.0, -1.0, 8.0], [-3.0, -1.0, 2.0, -11.0], [-2.0, 1.0, 2.0, -3.0]]);
        for (found, expected) in found.into_iter().zip([2.0, 3.0, -1.0]) {
            assert!((found - expected).abs() < 1e-12, "{found}, {expected}");
        }
        assert!(solve([[1.0, 1.0, 1.0], [1.0, 1.0, 2.0]]).iter().all(|value| !value.is_finite()));
    }
}
