//! The least value of a smooth function of a few arguments: Newton's method with damping (Levenberg), the curvature by
//! central differences of the gradient. Nocedal & Wright, Numerical Optimization, ch. 3, from memory.

/// A function with its gradient.
pub(super) trait Function {
    /// Both at a place.
    fn value_and_gradient(&self, at: &[f64]) -> (f64, Vec<f64>);
}

/// Where a function is least.
pub(super) struct Minimum {
    pub(super) at: Vec<f64>,
    pub(super) value: f64,
    /// Square roots of the diagonal of the inverse curvature.
    pub(super) sd: Vec<f64>,
}

/// Step of the central differences: their error is its square, 1e-8 of the curvature.
const STEP: f64 = 1e-4;
/// More steps than any fit has needed; the value is what was reached then.
const MOST_STEPS: usize = 200;
/// A step that promises less than this of the logarithm of a likelihood is none.
const ENOUGH: f64 = 1e-13;

/// Finds it from 0 on.
pub(super) fn minimum(function: &impl Function, dimensions: usize) -> Minimum {
    let mut at = vec![0.0; dimensions];
    let (mut value, mut gradient) = function.value_and_gradient(&at);
    let mut damping = 0.0;
    for _ in 0..MOST_STEPS {
        let curvature = curvature(function, &at);
        let Some(root) = cholesky(&curvature, damping) else {
            damping = f64::max(2.0 * damping, 1e-3);
            continue;
        };
        let step = solved(&root, &gradient);
        let promised: f64 = step.iter().zip(&gradient).map(|(s, g)| s * g).sum();
        if promised < ENOUGH {
            break;
        }
        let next: Vec<f64> = at.iter().zip(&step).map(|(x, s)| x - s).collect();
        let (next_value, next_gradient) = function.value_and_gradient(&next);
        if next_value < value {
            (at, value, gradient) = (next, next_value, next_gradient);
            damping = if damping > 1e-6 { damping / 4.0 } else { 0.0 };
        } else if promised < 1e-9 * value.abs().max(1.0) {
            // Nothing but rounding is left to win.
            break;
        } else {
            damping = f64::max(4.0 * damping, 1e-2);
        }
    }
    let sd = deviations(&curvature(function, &at));
    Minimum { at, value, sd }
}

fn curvature(function: &impl Function, at: &[f64]) -> Vec<Vec<f64>> {
    let n = at.len();
    let gradient = |i: usize, by: f64| {
        let mut moved = at.to_vec();
        moved[i] += by;
        function.value_and_gradient(&moved).1
    };
    let rows: Vec<Vec<f64>> = (0..n)
        .map(|i| {
            gradient(i, STEP).iter().zip(gradient(i, -STEP)).map(|(up, down)| (up - down) / (2.0 * STEP)).collect()
        })
        .collect();
    (0..n).map(|i| (0..n).map(|j| (rows[i][j] + rows[j][i]) / 2.0).collect()).collect()
}

/// Lower triangle whose square is the matrix with the damping on its diagonal; none where it is not positive.
fn cholesky(matrix: &[Vec<f64>], damping: f64) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut root = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let before: f64 = (0..j).map(|k| root[i][k] * root[j][k]).sum();
            let left = matrix[i][j] - before + if i == j { damping } else { 0.0 };
            root[i][j] = match i == j {
                true if left > 0.0 => left.sqrt(),
                true => return None,
                false => left / root[j][j],
            };
        }
    }
    Some(root)
}

fn solved(root: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let n = right.len();
    let mut x = right.to_vec();
    for i in 0..n {
        let before: f64 = (0..i).map(|k| root[i][k] * x[k]).sum();
        x[i] = (x[i] - before) / root[i][i];
    }
    for i in (0..n).rev() {
        let after: f64 = (i + 1..n).map(|k| root[k][i] * x[k]).sum();
        x[i] = (x[i] - after) / root[i][i];
    }
    x
}

/// The prior keeps the curvature at a maximum positive; where it is not, nothing is known.
fn deviations(curvature: &[Vec<f64>]) -> Vec<f64> {
    let n = curvature.len();
    let Some(root) = cholesky(curvature, 0.0) else { return vec![f64::INFINITY; n] };
    let of = |i: usize| {
        let mut unit = vec![0.0; n];
        unit[i] = 1.0;
        solved(&root, &unit)[i].sqrt()
    };
    (0..n).map(of).collect()
}
