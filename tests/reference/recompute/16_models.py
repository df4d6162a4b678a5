"""This project's own models on cases that reduce to known ones: Gaussian likelihoods, Tobit, quadrature, gamma-Poisson,
Fisher's exact test, prediction limits, sisters. The same cases stand in ../models_reference_test.cpp."""
import csv
import sys
import numpy as np
import statsmodels.api as sm
from scipy import integrate, optimize, stats
from statsmodels.stats.multitest import multipletests
sys.path.insert(0, "recompute")
from common import Expected

E = Expected("16_models.csv")


def add(check, q, v, tol, kind="rel", p="", o="computed", s="", dataset=""):
    E.add(check, q, float(v), p, tol, kind, o, s, dataset)


# --- washout, greasings until back-pressure: jointly Gaussian given the rate ------------------------------------------
H = np.array([260.0, 310, 240, 330, 290, 270, 350, 300])
Y = np.array([74.0, 95, 66, 97, 90, 84, 101, 92])
DAYS = np.array([20.0, 25, 18, 30, 22, 21, 28, 24])
FILL, DUTY, SEASON, ROUND = 8.0, 0.10, 0.09, 1.0


def covariance(w):
    n = len(H)
    t = np.cumsum(DAYS)
    c = np.zeros((n, n))
    for i in range(n):
        for j in range(n):
            c[i, j] = w * w * H[i] * H[j] * SEASON ** 2 * np.exp(-abs(t[i] - t[j]) / 75)
        c[i, i] += 2 * FILL ** 2 + (w * H[i] * DUTY) ** 2 + ROUND
        if i:
            c[i, i - 1] -= FILL ** 2
            c[i - 1, i] -= FILL ** 2
    return c


def log_likelihood(w):
    return stats.multivariate_normal(w * H, covariance(w)).logpdf(Y)


for w in (0.27, 0.30, 0.33):
    add("washout_gaussian", f"log_likelihood_{w:.2f}", log_likelihood(w), "1e-9")
# With even duty the covariance does not hang on the rate: generalised least squares.
even = 2 * FILL ** 2 * np.eye(len(H)) + ROUND * np.eye(len(H))
even -= FILL ** 2 * (np.eye(len(H), k=1) + np.eye(len(H), k=-1))
gls = sm.GLS(Y, H, sigma=even).fit(cov_type="fixed scale")
add("washout_gaussian", "gls_rate", gls.params[0], "1e-7")
add("washout_gaussian", "gls_se", gls.bse[0], "1e-5")


def prior(x, mean=-1.2, sd=0.9):
    return 0.9 * stats.norm.pdf(x, mean, sd) + 0.1 * stats.norm.pdf(x, mean, 3 * sd)


def posterior(log_lik, a, b):
    x = np.linspace(a, b, 4001)
    l = np.array([log_lik(np.exp(v)) for v in x])
    p = np.exp(l - l.max()) * prior(x)
    p /= integrate.trapezoid(p, x)
    mean = integrate.trapezoid(p * x, x)
    return mean, np.sqrt(integrate.trapezoid(p * (x - mean) ** 2, x))


mean, sd = posterior(log_likelihood, np.log(0.15), np.log(0.6))
add("washout_gaussian", "posterior_mean_log_w", mean, "0.004", "abs")
add("washout_gaussian", "posterior_sd_log_w", sd, "0.04")

# --- washout, broken off: Tobit, right-censored --------------------------------------------------------------------------
TH = np.array([300.0, 260, 340, 280, 310, 295])
TY = np.array([40.0, 82, 65, 30, 96, 55])
TEXACT = np.array([False, True, False, False, True, False])


def tobit_terms(w):
    s = np.sqrt(FILL ** 2 + (w * TH * DUTY) ** 2 + ROUND)
    full = np.sqrt(2 * FILL ** 2 + (w * TH * DUTY) ** 2 + ROUND)
    return np.where(TEXACT, stats.norm.logpdf(TY, w * TH, full), stats.norm.logcdf((w * TH - TY) / s))


for w in (0.15, 0.25, 0.35):
    add("washout_tobit", f"log_likelihood_{w:.2f}", tobit_terms(w).sum(), "1e-9")


def slips(w):  # 1.2 % of broken-off amounts are taken as slips, worth 0.3; of the exact ones next to none is left
    t = tobit_terms(w)
    return np.where(TEXACT, t, np.log(0.988 * np.exp(t) + 0.012 * 0.3)).sum()


mean, sd = posterior(slips, np.log(0.05), np.log(3.0))
add("washout_tobit", "posterior_mean_log_w", mean, "0.01", "abs")
add("washout_tobit", "posterior_sd_log_w", sd, "0.04")

# --- washout, cavity full or empty within the interval: by quadrature ----------------------------------------------------
for name, m, var, cap, y in (("near_empty", 95.0, 225.0, 100.0, 98.0), ("over_covered", -5.0, 144.0, 400.0, 3.0),
                             ("both_ends", 40.0, 2500.0, 90.0, 60.0)):
    read = 0.06 * min(max(m, 0.0), cap)
    s2 = FILL ** 2 + read ** 2 + ROUND

    def f(x):
        return stats.norm.pdf(x, m, np.sqrt(var)) * stats.norm.pdf(y, min(max(x, 0.0), cap), np.sqrt(s2))
    far = 12 * np.sqrt(var)
    p = sum(integrate.quad(f, a, b, epsabs=1e-15, epsrel=1e-12, limit=400)[0]
            for a, b in ((m - far, 0.0), (0.0, cap), (cap, max(cap, m) + far)))
    add("washout_clipped", name, p, "1e-8")

# --- delivery: one ratio throughout, exact mixture of Gaussian regressions -----------------------------------------------
FULL, UNIT = 5000.0, 50.0
LEVEL = np.array([92.00, 87.60, 84.90, 80.70, 77.00, 73.80, 69.10, 66.20, 62.00, 58.70, 55.30])
USED = np.arange(len(LEVEL)) * 192.0
parts = []
# Four equal shares: one device that stands leaves 0.75. A departure that is not seen counts 0.15 of its weight.
HEALTHY = 0.035
PARTS = ((0.86, 1.0, HEALTHY), (0.15 * 0.10 * 0.5, 0.55, 0.33), (0.15 * 0.10 * 0.2, 0.0, 0.04),
         (0.15 * 0.10 * 0.3, 0.75, np.hypot(HEALTHY, 0.02)), (0.15 * 0.04 * 0.5, 1.3, 0.18), (0.15 * 0.04 * 0.5, 1.9, 0.5))
for scale, ps in ((0.6, 0.25), (1.0, 0.40), (1.7, 0.28), (3.0, 0.05), (5.0, 0.02)):
    for pg, rm, rs in PARTS:
        y = LEVEL * UNIT
        noise = (scale * UNIT) ** 2
        a = np.column_stack([np.ones_like(y), -USED])
        p0 = np.diag([(1e4 * UNIT) ** 2, rs ** 2])
        m0 = np.array([0.0, rm])
        weight = np.log(ps * pg) + stats.multivariate_normal(a @ m0, a @ p0 @ a.T + noise * np.eye(len(y))).logpdf(y)
        cov = np.linalg.inv(np.linalg.inv(p0) + a.T @ a / noise)
        mean = cov @ (np.linalg.solve(p0, m0) + a.T @ y / noise)
        parts.append((weight, mean[1], np.sqrt(cov[1, 1])))
w = np.exp(np.array([p[0] for p in parts]) - max(p[0] for p in parts))
w /= w.sum()
for name, q in (("median", 0.5), ("low", 0.05), ("high", 0.95)):
    x = optimize.brentq(lambda r: sum(wi * stats.norm.cdf(r, p[1], p[2]) for wi, p in zip(w, parts)) - q, 0.2, 2)
    add("delivery_one_ratio", name, x, "0.004", "abs")
line = sm.OLS(LEVEL * UNIT, sm.add_constant(-USED)).fit()
add("delivery_one_ratio", "least_squares", line.params[1], "0.02", "abs")

# --- alarms: a rise of a constant rate, gamma-Poisson, by quadrature over place and factor --------------------------------
with open("data/submarine_diesels.csv", newline="") as f:
    t = np.array([float(r["hours"]) for r in csv.DictReader(f) if r["engine"] == "a"])
END, APART, LEARN = 25518.0, 18.0, 300.0
starts, ends = [t[0]], [t[0]]
for x in t[1:]:
    if x - ends[-1] > APART:
        starts.append(x)
        ends.append(x)
    ends[-1] = x
n = len(starts)
add("alarm_rise", "bursts", n, "0")
# Hours in which a burst could begin, up to each burst and to the end.
gaps = np.array([starts[0]] + [starts[i] - ends[i - 1] - APART for i in range(1, n)] + [max(0.0, END - ends[-1] - APART)])
live = np.cumsum(gaps)
share = (gaps[1:n] / (gaps[1:n] + gaps[0:n - 1])) - 0.5
var = min((100 * (1 / 12) + (share ** 2).sum()) / (100 + len(share)), 0.2)  # 1/12: of an exponential law
phi = min(max(1 / ((1 / (4 * var) - 1) / 2), 1.0), 3.0)
g = np.linspace(np.log(1.2) * 2.5, np.log(1.2) * 15.5, 600)  # ln factor, the range of the search
total = live[-1]
places, dens = [], []
for k in range(n + 1):
    a, b = (0.0 if k == 0 else live[k - 1]), live[k]
    real_a = 0.0 if k == 0 else ends[k - 1] + APART
    for m in np.linspace(max(a, LEARN), b, 41)[:-1] if b > max(a, LEARN) else []:
        step = (b - max(a, LEARN)) / 40
        mid = m + step / 2
        ll = (-0.35 * g + (n - k) / phi * g - (1.5 + n / phi) * np.log(650 + (mid + np.exp(g) * (total - mid)) / phi))
        places.append(real_a + (mid - a))
        dens.append(ll + np.log(step))
dens = np.array(dens)
dens = np.exp(dens - dens.max())
by_place, by_factor = dens.sum(axis=1), dens.sum(axis=0)


def quantile(x, weight, q):
    c = np.cumsum(weight) / weight.sum()
    return np.interp(q, c, x)


for name, q in (("median", 0.5), ("low", 0.05), ("high", 0.95)):
    add("alarm_rise", "factor_" + name, np.exp(quantile(g, by_factor, q)), "0.03")
    add("alarm_rise", "began_h_" + name, quantile(np.array(places), by_place, q), "0.005")

# --- inspections ------------------------------------------------------------------------------------------------------------
# Fisher's lady tasting tea: one-sided p 0.2429, as in the example of R's fisher.test.
add("inspections", "tea_3_of_4", stats.fisher_exact([[3, 1], [1, 3]], "greater")[1], "1e-12", p="0.2429", o="text",
    s="R_fisher.test")
add("inspections", "tea_4_of_4", stats.hypergeom.sf(3, 8, 4, 4), "1e-12")
# R's fisher.test example on convictions of twins: 2 of 15 and 10 of 3 (one-sided).
add("inspections", "twins", stats.fisher_exact([[10, 3], [2, 15]], "greater")[1], "1e-10", s="R_fisher.test")
iron = np.array([21.0, 24, 19.5, 26, 22.5, 20.2, 25.1])
for k in (4, 7):
    x = np.log(iron[:k])
    limit = np.exp(x.mean() + stats.t.ppf(0.999, k - 1) * x.std(ddof=1) * np.sqrt(1 + 1 / k))
    add("inspections", f"limit_of_{k}", limit, "1e-8")
days = np.array([0.0, 91, 180, 274, 365, 455, 546])
rise = np.array([21.0, 24, 23, 27, 31, 30, 38])
add("inspections", "slope_per_year", stats.theilslopes(rise, days / 365.25)[0], "1e-9")
add("inspections", "p_rising", stats.kendalltau(days, rise, method="exact", alternative="greater")[1], "1e-9")

# --- advice: probability of ending above the reserve -------------------------------------------------------------------------
CAP, RESERVE, FILLSD = 400.0, 20.0, 10.0
LOW, VALUE, HIGH, SCATTER = 0.25, 0.30, 0.36, 0.13
ROOM = CAP * (1 - RESERVE / 100)
SD = np.hypot((np.log(HIGH) - np.log(LOW)) / (2 * stats.norm.ppf(0.95)), SCATTER)


def p_above(h, dose, r, rsd):
    def of_start(m, ratio):
        rate = (ROOM - max(0.0, m)) / h + ratio * dose
        return stats.norm.cdf((np.log(rate) - np.log(VALUE)) / SD) if rate > 0 else 0.0

    def of_ratio(ratio):
        body = integrate.quad(lambda m: of_start(m, ratio) * stats.norm.pdf(m, 0, FILLSD), 0, 8 * FILLSD, epsabs=1e-10)[0]
        return 0.5 * of_start(0.0, ratio) + body
    if not rsd:
        return of_ratio(r)
    z = np.linspace(-8, 8, 401)
    return integrate.trapezoid([of_ratio(max(0.0, r + rsd * x)) * stats.norm.pdf(x) for x in z], z)


for h in (700.0, 900.0, 1100.0):
    add("advice", f"by_hand_{h:.0f}", p_above(h, 0.0, 1.0, 0.0), "0.0015", "abs")
add("advice", "dosed_2000", p_above(2000.0, 0.20, 0.9, 0.06), "0.003", "abs")
add("advice", "longest_by_hand", optimize.brentq(lambda h: p_above(h, 0.0, 1.0, 0.0) - 0.95, 400, 1500), "0.004")

# --- sisters: random effects, robust t, Benjamini-Hochberg, on thirteen published trials -----------------------------------
with open("expected/10_shrinkage.csv", newline="") as f:
    rows = {r["quantity"]: float(r["value"]) for r in csv.DictReader(f)
            if r["check"] == "random_effects" and r["dataset"] == "bcg.csv"}
y = np.array([rows[f"yi_{i}"] for i in range(1, 14)])
v = np.array([rows[f"vi_{i}"] for i in range(1, 14)])


def minus_reml(log_tau2):
    s = v + np.exp(log_tau2)
    mu = (y / s).sum() / (1 / s).sum()
    return 0.5 * (np.log(s).sum() + np.log((1 / s).sum()) + ((y - mu) ** 2 / s).sum())


tau2 = np.exp(optimize.minimize_scalar(minus_reml, bounds=(-6, 2), method="bounded", options={"xatol": 1e-10}).x)
assert f"{tau2:.4f}" == "0.3132"  # as printed by Viechtbauer 2010
mu = (y / (v + tau2)).sum() / (1 / (v + tau2)).sum()
kept = tau2 / (tau2 + v)
off, var, k = [], [], np.pi / 2 / 12
for i in range(13):
    others = np.delete(np.arange(13), i)
    off.append(y[i] - np.median(y[others]))
    var.append(v[i] + k * np.median(v[others]))
off, var = np.array(off), np.array(var)
seen = (np.median(off ** 2) / stats.chi2.ppf(0.5, 1) - np.median(var)) / (1 + k)
between = max(0.12 ** 2, seen)
dof = max(1.0, 0.37 * 12) if seen > 0.12 ** 2 else 12
p = 2 * stats.t.sf(np.abs(off) / np.sqrt(var + (1 + k) * between), dof)
adjusted = multipletests(p, method="fdr_bh")[1]
for i in range(13):
    add("sisters", f"shrunk_{i + 1}", np.exp(kept[i] * y[i] + (1 - kept[i]) * mu), "1e-4", dataset="bcg.csv")
    add("sisters", f"p_{i + 1}", p[i], "0.001", dataset="bcg.csv")
    add("sisters", f"adjusted_p_{i + 1}", adjusted[i], "0.001", dataset="bcg.csv")
E.save()
