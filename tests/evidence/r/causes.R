# Reference values for batches with known errors, from R's own routines.
# Run from the top: Rscript tests/evidence/r/causes.R   (writes causes.json beside itself)
# Data: causes.csv, batch minus blind control with its standard error, of the invented year.
# Every fit is restricted likelihood with metafor's rma.mv, its optimiser made tight.
suppressPackageStartupMessages({ library(metafor); library(jsonlite) })
here <- "tests/evidence/r"
d <- read.csv(file.path(here, "causes.csv"))
d$lot <- as.numeric(d$sweetener_lot == "SW-2604")
tight <- list(optimizer = "optim", optmethod = "Nelder-Mead", reltol = 1e-15, maxit = 10000)
fit <- function(mods, random) {
  m <- rma.mv(estimate, se^2, mods = mods, random = random, data = d, method = "REML",
              control = tight, sparse = FALSE)
  list(variances = m$sigma2, coefficients = as.numeric(m$beta), se = m$se,
       deviance = -2 * as.numeric(logLik(m, REML = TRUE)) +
         as.numeric(determinant(crossprod(m$X))$modulus))
}
out <- list(
  versions = list(R = R.version.string, metafor = as.character(packageVersion("metafor"))),
  alone = fit(~ 1, list(~ 1 | batch)),
  drift = fit(~ drift, list(~ 1 | batch)),
  lots = fit(~ drift, list(~ 1 | batch, ~ 1 | sweetener_lot, ~ 1 | fruit_concentrate_lot)),
  cause = fit(~ drift + lot, list(~ 1 | batch, ~ 1 | fruit_concentrate_lot, ~ 1 | flavour_lot))
)
write(toJSON(out, digits = 12, auto_unbox = TRUE, pretty = TRUE), file.path(here, "causes.json"))
