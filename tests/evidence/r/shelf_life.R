# Reference values for shelf life, from R's own routines: survreg and survfit of survival, lm, and
# for the profile limits a likelihood written out here with optimize and uniroot.
# Run from the top: Rscript tests/evidence/r/shelf_life.R   (writes shelf_life.json beside itself)
# Data: shelf_life.csv, intervals of 60 invented consumers tasting at 0, 15, 30, 45, 60, 75, 90 days;
# the breast cosmesis data (KMsurv bcdeter, treat 1) from tests/references/published_more.json.
suppressPackageStartupMessages({ library(survival); library(jsonlite) })
here <- "tests/evidence/r"
d <- read.csv(file.path(here, "shelf_life.csv"))
seen <- function(d) Surv(ifelse(d$low == 0, NA, d$low), ifelse(is.infinite(d$high), NA, d$high),
                         type = "interval2")
tight <- survreg.control(maxiter = 500, rel.tolerance = 1e-13)
below <- list(weibull = function(z) -expm1(-exp(z)), lognormal = pnorm, loglogistic = plogis)
quant <- list(weibull = function(p) log(-log(1 - p)), lognormal = qnorm, loglogistic = qlogis)
one <- function(d, dist, share, level) {
  m <- survreg(seen(d) ~ 1, dist = dist, control = tight)
  q <- predict(m, type = "quantile", p = share, se.fit = TRUE)
  F <- below[[dist]]; z <- quant[[dist]](share)
  ll <- function(theta, s) sum(log(F((log(d$high) - theta) / s + z) - F((log(d$low) - theta) / s + z)))
  pr <- function(theta) optimize(function(ls) ll(theta, exp(ls)), c(-4, 4), maximum = TRUE,
                                 tol = 1e-10)$objective
  at <- log(q$fit[1]); top <- pr(at)
  g <- function(theta) pr(theta) - top + qchisq(level, 1) / 2
  list(centre = as.numeric(coef(m)), spread = m$scale, loglik = top, quantile = q$fit[1],
       se = q$se.fit[1], low = exp(uniroot(g, c(at - 1, at), tol = 1e-11)$root),
       high = exp(uniroot(g, c(at, at + 2), tol = 1e-11)$root))
}
step <- function(d) { s <- survfit(seen(d) ~ 1, data = d); list(time = s$time, surv = s$surv) }
m10 <- Filter(function(v) v$id == "m10_turnbull_radiotherapy",
  fromJSON("tests/references/published_more.json", simplifyVector = FALSE)$values)[[1]]$inputs
b <- data.frame(low = as.numeric(unlist(m10$low)), high = as.numeric(unlist(m10$high)))
dists <- c("weibull", "lognormal", "loglogistic")
# a line: days, mean distance from the reference; where its mean meets 2.5, by predict and uniroot
line <- data.frame(time = c(0, 14, 28, 42, 56, 70, 84),
                   score = c(0.21, 0.62, 0.55, 1.38, 1.49, 2.31, 2.47))
m <- lm(score ~ time, line)
band <- function(t, end, level) predict(m, data.frame(time = t), interval = "confidence",
                                        level = level)[, end] - 2.5
cross <- function(end, level) uniroot(band, c(40, 400), end = end, level = level, tol = 1e-10)$root
out <- list(versions = list(R = R.version.string, survival = as.character(packageVersion("survival"))),
  consumers = lapply(setNames(dists, dists), function(k) one(d, k, 0.5, 0.90)),
  quarter = lapply(setNames(dists, dists), function(k) one(d, k, 0.25, 0.90)),
  cosmesis = lapply(setNames(dists, dists), function(k) one(b, k, 0.5, 0.95)),
  steps = step(d), cosmesis_steps = step(b),
  line = list(time = line$time, score = line$score, at = 2.5,
    coef = as.numeric(coef(m)), se = summary(m)$coefficients[, 2],
    low = cross("upr", 0.90), high = cross("lwr", 0.90),
    p_bent = summary(lm(score ~ time + I(time^2), line))$coefficients[3, 4]))
# choices: d-prime in a line through 0, triangle and tetrad by the integrals of the decision rules
num <- function(f, a, b) integrate(f, a, b, rel.tol = 1e-11, subdivisions = 2000)$value
links <- list(TRIANGLE = function(d) 2 * num(function(z) (pnorm(-z * sqrt(3) + d * sqrt(2 / 3)) +
    pnorm(-z * sqrt(3) - d * sqrt(2 / 3))) * dnorm(z), 0, 12),
  TETRAD = function(d) 1 - 2 * num(function(z) dnorm(z) *
    (2 * pnorm(z) * pnorm(z - d) - pnorm(z - d)^2), -12, 12))
x <- data.frame(time = c(30, 60, 90, 120), protocol = c("TRIANGLE", "TRIANGLE", "TETRAD", "TRIANGLE"),
                correct = c(9, 13, 14, 18), trials = c(24, 24, 24, 24))
h <- function(slope) sum(sapply(split(x, seq_len(nrow(x))), function(s) {
  p <- links[[s$protocol]](slope * s$time)
  s$correct * log(p) + (s$trials - s$correct) * log(1 - p) }))
top <- optimize(h, c(0, 0.06), maximum = TRUE, tol = 1e-12)
g <- function(slope) h(slope) - top$objective + qchisq(0.90, 1) / 2
out$choices <- list(rows = x, slope = top$maximum,
  low = uniroot(g, c(1e-5, top$maximum), tol = 1e-13)$root,
  high = uniroot(g, c(top$maximum, 0.06), tol = 1e-13)$root)
write(toJSON(out, digits = 12, auto_unbox = TRUE, pretty = TRUE), file.path(here, "shelf_life.json"))
