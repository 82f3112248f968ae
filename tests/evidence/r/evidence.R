# Reference values for one d-prime behind several counts, from R's own integrate and optimize.
# Run from the top: Rscript tests/evidence/r/evidence.R   (writes evidence.json beside itself)
# Links by the integrals of the decision rules, not by the forms that the package uses.
suppressPackageStartupMessages(library(jsonlite))
here <- "tests/evidence/r"
num <- function(f, a, b) integrate(f, a, b, rel.tol = 1e-11, subdivisions = 2000)$value
triangle <- function(d) 2 * num(function(z) (pnorm(-z * sqrt(3) + d * sqrt(2 / 3)) +
  pnorm(-z * sqrt(3) - d * sqrt(2 / 3))) * dnorm(z), 0, 12)
tetrad <- function(d) 1 - 2 * num(function(z) dnorm(z) *
  (2 * pnorm(z) * pnorm(z - d) - pnorm(z - d)^2), -12, 12)
duotrio <- function(d) 1 - pnorm(d / sqrt(2)) - pnorm(d / sqrt(6)) +
  2 * pnorm(d / sqrt(2)) * pnorm(d / sqrt(6))
links <- list(TRIANGLE = triangle, TETRAD = tetrad, DUO_TRIO = duotrio)
sets <- list(
  pair = data.frame(protocol = c("TRIANGLE", "TETRAD"), correct = c(14, 15), trials = c(30, 24)),
  several = data.frame(protocol = c("TRIANGLE", "TETRAD", "DUO_TRIO", "TRIANGLE", "TETRAD"),
    correct = c(20, 12, 24, 8, 26), trials = c(36, 24, 30, 24, 30)))
loglik <- function(s, d) { p <- links[[s$protocol]](d)
  s$correct * log(p) + (s$trials - s$correct) * log(1 - p) }
rows <- function(x) split(x, seq_len(nrow(x)))
out <- list(versions = list(R = R.version.string))
for (name in names(sets)) {
  x <- sets[[name]]
  h <- function(d) sum(sapply(rows(x), loglik, d = d))
  top <- optimize(h, c(0, 6), maximum = TRUE, tol = 1e-10)
  g <- function(d) h(d) - top$objective + qchisq(0.95, 1) / 2
  r <- list(sessions = x, estimate = top$maximum,
    low = uniroot(g, c(1e-6, top$maximum), tol = 1e-10)$root,
    high = uniroot(g, c(top$maximum, 8), tol = 1e-10)$root, loglik = top$objective)
  if (nrow(x) > 2) {
    hr <- function(m, s) { k <- (m / s)^2
      sum(sapply(rows(x), function(one) log(integrate(function(u) sapply(u, function(v)
        exp(loglik(one, min(qgamma(v, k, scale = m / k), 10)))), 0, 1, rel.tol = 1e-7)$value))) }
    fit <- optim(c(1.3, 0.4), function(p) -hr(abs(p[1]), abs(p[2])), control = list(reltol = 1e-11))
    r$random <- list(mean = abs(fit$par[1]), spread = abs(fit$par[2]), loglik = -fit$value)
  }
  out[[name]] <- r
}
write(toJSON(out, digits = 12, auto_unbox = TRUE, pretty = TRUE), file.path(here, "evidence.json"))
