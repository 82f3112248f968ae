# Reference values for the history of a panel, from R's own routines.
# Run: Rscript tests/references/panel.R   (adds values to panel.json beside itself)
#
# choices: invented answers of 12 assessors in 24 paired comparisons with 6 trials each, d-prime of
#   the others given; glmer with one random slope, adaptive Gauss-Hermite quadrature of 25 points.
# meta: invented estimates with their standard errors; rma by REML.
# fries: ratings/french_fries.csv, ten weeks of frying oils. Potato: the slope of each assessor on
#   the mean of the others, weeks with levels of their own, by lm; the slopes together by rma.
suppressPackageStartupMessages({library(lme4); library(metafor); library(jsonlite)})
here <- "tests/references"
file <- file.path(here, "panel.json")
data <- fromJSON(file)$data

right <- data$correct
long <- data.frame(assessor = factor(rep(seq_len(nrow(right)), ncol(right))),
  x = rep(data$dprime, each = nrow(right)) / sqrt(2), correct = as.vector(right))
long$wrong <- data$trials - long$correct
fit <- glmer(cbind(correct, wrong) ~ 0 + x + (0 + x | assessor), long, binomial("probit"),
  nAGQ = 25, control = glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10)))
choices <- list(mean = unname(fixef(fit)), spread = unname(attr(VarCorr(fit)$assessor, "stddev")))

meta <- rma(data$estimate, sei = data$se, method = "REML", control = list(threshold = 1e-12))
values <- list(mean = unname(meta$beta[1]), spread = sqrt(meta$tau2))

fries <- read.csv(file.path(here, "ratings", "french_fries.csv"))
means <- aggregate(potato ~ assessor + sample + session, fries, mean)
slopes <- do.call(rbind, lapply(sort(unique(means$assessor)), function(who) {
  own <- means[means$assessor == who, ]
  rest <- aggregate(potato ~ sample + session, means[means$assessor != who, ], mean)
  both <- merge(own, rest, by = c("sample", "session"))
  line <- summary(lm(potato.x ~ 0 + factor(session) + potato.y, both))$coefficients
  data.frame(assessor = who, slope = line["potato.y", 1], se = line["potato.y", 2])
}))
together <- rma(slopes$slope, sei = slopes$se, method = "REML", control = list(threshold = 1e-12))

version <- function(name) as.character(packageVersion(name))
made <- list(R = R.version.string, packages = list(lme4 = version("lme4"),
  metafor = version("metafor")), command = "Rscript tests/references/panel.R")
write_json(list(made = made, data = data, choices = choices, meta = values,
  fries = list(assessor = slopes$assessor, slope = slopes$slope, se = slopes$se,
    mean = unname(together$beta[1]), spread = sqrt(together$tau2))),
  file, digits = NA, auto_unbox = TRUE)
