# Thresholds of an ascending series with a guessing probability of 1/3, three roads:
# glm with a link of its own (assessors alike), lme4::glmer with the same link (assessors who
# differ, 25 nodes), and the marginal likelihood by Simpson's rule on 2001 points with optim.
# Writes threshold.json beside this script: Rscript threshold.R
suppressMessages(library(lme4))
g <- 1/3
guess <- structure(list(
  linkfun = function(mu) qnorm(pmin(pmax((mu - g) / (1 - g), 1e-10), 1 - 1e-10)),
  linkinv = function(eta) pmin(g + (1 - g) * pnorm(eta), 1 - 1e-12),
  mu.eta = function(eta) pmax((1 - g) * dnorm(eta), 1e-12),
  valideta = function(eta) TRUE, name = "guess"), class = "link-glm")

set.seed(20)
people <- 24; at <- (0:7) * log10(2)
own <- 0.25; between <- 0.3; middle <- 1.1
t <- rnorm(people, middle, between)
d <- expand.grid(assessor = 1:people, step = 1:8)
d$x <- at[d$step]
d$right <- rbinom(nrow(d), 1, g + (1 - g) * pnorm((d$x - t[d$assessor]) / own))

alike <- glm(right ~ x, family = binomial(link = guess), data = d, start = c(-3, 3),
             control = list(epsilon = 1e-14, maxit = 200))
b <- coef(alike)
differ <- glmer(right ~ x + (1 | assessor), data = d, family = binomial(link = guess), nAGQ = 25,
                start = list(fixef = 1.3 * b, theta = 1),
                control = glmerControl(optimizer = "bobyqa", optCtrl = list(maxfun = 1e5)))
f <- fixef(differ); u <- sqrt(unlist(VarCorr(differ)))

y <- matrix(d$right, people)
q <- seq(-7, 7, length.out = 2001); h <- q[2] - q[1]
simpson <- c(1, rep(c(4, 2), 999), 4, 1) * h / 3 * dnorm(q)
loss <- function(p) {  # middle, log own, log between
  w <- exp(p[2]); s <- exp(p[3])
  z <- outer(at, p[1] + s * q, "-") / w
  yes <- log(g + (1 - g) * pnorm(z)); no <- log(1 - g) + pnorm(-z, log.p = TRUE)
  -sum(log(exp(y %*% yes + (1 - y) %*% no) %*% simpson))
}
fit <- optim(c(1.1, log(0.2), log(0.3)), loss, method = "BFGS",
             control = list(reltol = 1e-14, maxit = 500))
profile <- function(m) optim(fit$par[2:3], function(q) loss(c(m, q)), method = "BFGS",
                             control = list(reltol = 1e-12))$value
cut <- fit$value + qf(0.95, 1, people - 1) / 2
low <- uniroot(function(m) profile(m) - cut, c(fit$par[1] - 0.6, fit$par[1]), tol = 1e-7)$root
high <- uniroot(function(m) profile(m) - cut, c(fit$par[1], fit$par[1] + 0.6), tol = 1e-7)$root

n <- function(x) sprintf("%.10g", x)
cat(sprintf('{"versions": "R %s, lme4 %s",\n', getRversion(), packageVersion("lme4")),
    sprintf('"right": [%s],\n', paste(apply(y, 1, function(r) sprintf('"%s"', paste(r, collapse = ""))), collapse = ", ")),
    sprintf('"glm": {"middle": %s, "width": %s, "log_likelihood": %s},\n', n(-b[1] / b[2]), n(1 / b[2]), n(as.numeric(logLik(alike)))),
    sprintf('"glmer": {"middle": %s, "own": %s, "between": %s, "log_likelihood": %s},\n', n(-f[1] / f[2]), n(1 / f[2]), n(u / f[2]), n(as.numeric(logLik(differ)))),
    sprintf('"simpson": {"middle": %s, "own": %s, "between": %s, "log_likelihood": %s, "low": %s, "high": %s}}\n',
            n(fit$par[1]), n(exp(fit$par[2])), n(exp(fit$par[3])), n(-fit$value), n(low), n(high)),
    sep = "", file = "threshold.json")
