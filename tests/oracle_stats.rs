//! Our statistics against scipy and statsmodels at a thousand random parameters (Debian `python3-scipy`,
//! `python3-statsmodels`; any version: they differ by less than the tolerances). Fixed seed.
#![expect(clippy::print_stdout, reason = "seeds and how near the worst was")]

use pathproof::judge::stats::duration::{Lasted, kaplan_meier};
use pathproof::judge::stats::lognormal_fit::fit_lognormal;
use pathproof::judge::stats::weibull_fit::fit_weibull;
use pathproof::judge::stats::{proportion, rate, special};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::{Value, json};
use std::io::Write as _;
use std::process::{Command, Stdio};

const SEED: u64 = 1_000;
const DRAWS: usize = 1_000;

/// Runs a script that reads `d` and prints one JSON value.
fn scipy(script: &str, input: &Value) -> Vec<Vec<f64>> {
    let head = "import json, sys, warnings\nimport numpy as np\nfrom scipy import optimize, special, stats\nwarnings.simplefilter('ignore')\nd = json.load(sys.stdin)\n";
    let mut child = Command::new("/usr/bin/python3")
        .args(["-c", &format!("{head}{script}\njson.dump([[float(x) for x in r] for r in out], sys.stdout)")])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("/usr/bin/python3 is there");
    child.stdin.take().expect("piped").write_all(input.to_string().as_bytes()).expect("written");
    let out = child.wait_with_output().expect("ends");
    assert!(out.status.success(), "python3-scipy and python3-statsmodels are needed, and the script must run");
    serde_json::from_slice(&out.stdout).expect("JSON of numbers")
}

/// Compares row by row; relative, or absolute under `floor`. Says how near the worst was.
fn agree(what: &str, inputs: &[Vec<f64>], ours: &[Vec<f64>], theirs: &[Vec<f64>], tolerance: f64, floor: f64) {
    assert_eq!((ours.len(), inputs.len()), (theirs.len(), theirs.len()));
    let mut worst = 0.0f64;
    for ((input, ours), theirs) in inputs.iter().zip(ours).zip(theirs) {
        assert_eq!(ours.len(), theirs.len());
        for (i, (a, b)) in ours.iter().zip(theirs).enumerate() {
            let error = (a - b).abs() / b.abs().max(floor);
            assert!(error <= tolerance, "{what}: value {i} at {input:?} is {a:e}, reference {b:e}, off by {error:e}");
            worst = worst.max(error);
        }
    }
    println!("{what}: {} draws, seed {SEED}, worst {worst:.1e}", ours.len());
}

fn generator() -> Xoshiro256PlusPlus {
    Xoshiro256PlusPlus::seed_from_u64(SEED)
}

/// Log-uniform.
fn between(draw: &mut Xoshiro256PlusPlus, from: f64, to: f64) -> f64 {
    from * (to / from).powf(draw.random::<f64>())
}

#[test]
fn proportions_match() {
    let mut draw = generator();
    let inputs: Vec<Vec<f64>> = (0..DRAWS)
        .map(|_| {
            let n = between(&mut draw, 5.0, 1e6).round();
            let k = (n * draw.random::<f64>().powi(4)).floor();
            vec![k, n, 0.8 + 0.199 * draw.random::<f64>()]
        })
        .collect();
    let ours: Vec<Vec<f64>> = inputs
        .iter()
        .map(|x| {
            let i = proportion::wilson(x[0], x[1], x[2]);
            vec![i.lower, i.upper]
        })
        .collect();
    // Wilson by statsmodels.
    let theirs = scipy(
        "from statsmodels.stats.proportion import proportion_confint as ci
out = []
for k, n, c in d:
    a = 1 - c
    w = ci(int(k), int(n), alpha=a, method='wilson')
    out.append([0 if k == 0 else max(w[0], 0), min(w[1], 1)])",
        &json!(inputs),
    );
    // Below the floor a difference is absolute: quantiles under 1e-8 are not claimed (statrs stops its iterations at about 1e-9).
    agree("proportions", &inputs, &ours, &theirs, 1e-8, 1e-9);
}

#[test]
fn rates_match() {
    let mut draw = generator();
    let inputs: Vec<Vec<f64>> = (0..DRAWS)
        .map(|_| {
            let k = (200.0 * draw.random::<f64>().powi(3)).floor();
            vec![k, between(&mut draw, 1.0, 1e5), 0.8 + 0.19 * draw.random::<f64>()]
        })
        .collect();
    let ours: Vec<Vec<f64>> = inputs
        .iter()
        .map(|x| {
            let g = rate::garwood(x[0] as u64, x[1], x[2]);
            vec![g.lower, g.upper, special::gamma_cdf(x[0] + 0.5, x[1] / 1e3)]
        })
        .collect();
    let theirs = scipy(
        "out = []
for k, u, c in d:
    a = 1 - c
    lo = 0 if k == 0 else stats.chi2.ppf(a/2, 2*k)/(2*u)
    out.append([lo, stats.chi2.ppf(1-a/2, 2*k+2)/(2*u), special.gammainc(k+.5, u/1e3)])",
        &json!(inputs),
    );
    agree("rates", &inputs, &ours, &theirs, 1e-8, 1e-6);
}

/// Censored lengths: [seconds, ended] pairs, flat.
fn censored(draw: &mut Xoshiro256PlusPlus) -> Vec<f64> {
    let n = 5 + draw.random_range(0..40);
    let (mu, sigma) = (3.0 + 5.0 * draw.random::<f64>(), 0.3 + 1.7 * draw.random::<f64>());
    let limit = (mu + sigma).exp();
    (0..n)
        .flat_map(|_| {
            let normal = (-2.0 * draw.random::<f64>().max(1e-16).ln()).sqrt()
                * (std::f64::consts::TAU * draw.random::<f64>()).cos();
            let x = (mu + sigma * normal).exp();
            [x.min(limit), f64::from(u8::from(x <= limit))]
        })
        .collect()
}

fn lasted(flat: &[f64]) -> Vec<Lasted> {
    flat.chunks(2).map(|c| Lasted { seconds: c[0], ended: c[1] > 0.5 }).collect()
}

#[test]
fn survival_and_censored_fits_match() {
    let mut draw = generator();
    let mut inputs: Vec<Vec<f64>> = Vec::new();
    while inputs.len() < DRAWS {
        let flat = censored(&mut draw);
        if flat.chunks(2).filter(|c| c[1] > 0.5).count() >= 3 {
            inputs.push(flat);
        }
    }
    let ours: Vec<Vec<f64>> = inputs
        .iter()
        .map(|flat| {
            let data = lasted(flat);
            let (l, w) = (fit_lognormal(&data).expect("three ended"), fit_weibull(&data).expect("three ended"));
            let km = kaplan_meier(&data, 0.95);
            let middle = km[km.len() / 2];
            vec![middle.survival, l.mu, l.sigma, l.log_likelihood, w.shape, w.scale.ln(), w.log_likelihood]
        })
        .collect();
    // Kaplan-Meier by statsmodels; the fits by scipy's minimiser on the likelihood written from its own densities.
    let theirs = scipy(
        "from statsmodels.duration.survfunc import SurvfuncRight
# scipy's log_ndtr is the normal's log survival; the smallest-extreme-value form of the Weibull has it in closed form.
def normal(z): return -z*z/2 - np.log(2*np.pi)/2, special.log_ndtr(-z)
def smallest(z): return z - np.exp(z), -np.exp(z)
def fit(y, e, dist):
    def cost(v):
        f, s = dist((y - v[0]) * np.exp(-v[1]))
        return -(f[e].sum() - v[1] * e.sum() + s[~e].sum())
    r = optimize.minimize(cost, [y.mean(), np.log(y.std())], method='BFGS').x
    r = optimize.minimize(cost, r, method='Nelder-Mead', options=dict(xatol=1e-8, fatol=1e-10, initial_simplex=[r, r + [1e-3, 0], r + [0, 1e-3]])).x
    return r, -cost(r)
out = []
for flat in d:
    x = np.array(flat[0::2]); e = np.array(flat[1::2]) > .5
    s = SurvfuncRight(x, e.astype(int))
    y = np.log(x)
    l, ll = fit(y, e, normal)
    w, wl = fit(y, e, smallest)
    n = len(s.surv_prob)
    out.append([s.surv_prob[n // 2], l[0], np.exp(l[1]), ll - y[e].sum(), np.exp(-w[1]), w[0], wl - y[e].sum()])",
        &json!(inputs),
    );
    agree("survival and censored fits", &inputs, &ours, &theirs, 1e-5, 1e-2);
}
