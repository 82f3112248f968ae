# Reference values for accept or reject, and for liking, by consumers who differ, from lme4.
# Run from the top: Rscript tests/evidence/r/consumers.R   (writes consumers.json beside itself)
# Data: consumers.csv, made by consumers.py. Optimisers made tight.
suppressPackageStartupMessages({ library(lme4); library(jsonlite) })
here <- "tests/evidence/r"
d <- read.csv(file.path(here, "consumers.csv"))
d$rejects <- as.numeric(d$answer == "reject")
tight <- glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5))
g <- glmer(rejects ~ distance + (1 | consumer), d, binomial, nAGQ = 25, control = tight)
own <- glmer(rejects ~ 0 + sample + (1 | consumer), d, binomial, nAGQ = 25, control = tight)
flat <- glmer(rejects ~ 1 + (1 | consumer), d, binomial, nAGQ = 25, control = tight)
lin <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
m <- lmer(liking ~ distance + (1 + distance | consumer), d, REML = TRUE, control = lin)
v <- as.data.frame(VarCorr(m))$vcov
share <- 0.25
level <- function(a, b, s, x) integrate(function(z) plogis(a + b * x + s * z) * dnorm(z), -12, 12,
                                        rel.tol = 1e-12)$value
s <- as.numeric(attr(VarCorr(g)$consumer, "stddev"))
b <- fixef(g)
limit <- uniroot(function(x) level(b[1], b[2], s, x) - share, c(0, 5), tol = 1e-12)$root
out <- list(
  versions = list(R = R.version.string, lme4 = as.character(packageVersion("lme4"))),
  reject = list(intercept = b[[1]], slope = b[[2]], spread = s, limit = limit,
                ratio_slope = 2 * (as.numeric(logLik(g)) - as.numeric(logLik(flat))),
                ratio_fit = 2 * (as.numeric(logLik(own)) - as.numeric(logLik(g)))),
  liking = list(coefficients = as.numeric(fixef(m)), se = sqrt(diag(as.matrix(vcov(m)))),
                variances = v, deviance = as.numeric(REMLcrit(m)))
)
write(toJSON(out, digits = 12, auto_unbox = TRUE, pretty = TRUE), file.path(here, "consumers.json"))
