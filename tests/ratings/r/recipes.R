# Two recipes of three lots each by lme4 and lmerTest: lots, assessors and what assessors differ in
# about recipes are random. Run from the top: Rscript tests/ratings/r/recipes.R
suppressPackageStartupMessages({library(lme4); library(lmerTest); library(jsonlite)})
set.seed(41)
d <- expand.grid(replicate = 1:2, sample = c("P1", "P2", "P3", "N1", "N2", "N3"),
                 assessor = LETTERS[1:10], stringsAsFactors = FALSE)
d$recipe <- factor(ifelse(substr(d$sample, 1, 1) == "P", "present", "new"), c("present", "new"))
lot <- rnorm(6, 0, 0.5); names(lot) <- unique(d$sample)
own <- matrix(rnorm(20, 0, 0.5), 10, 2, dimnames = list(LETTERS[1:10], c("present", "new")))
cell <- matrix(rnorm(60, 0, 0.4), 10, 6, dimnames = list(LETTERS[1:10], unique(d$sample)))
d$score <- round(5 + 0.6 * (d$recipe == "new") + lot[d$sample] + own[cbind(d$assessor, as.character(d$recipe))] +
  cell[cbind(d$assessor, d$sample)] + rnorm(nrow(d), 0, 0.7), 2)
fit <- lmer(score ~ recipe + (1 | sample) + (1 | assessor) + (1 | assessor:recipe) + (1 | assessor:sample),
            data = d, control = lmerControl(optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-12)))
row <- coef(summary(fit))["recipenew", ]
sd <- as.data.frame(VarCorr(fit))
write(toJSON(list(versions = list(R = R.version.string, lme4 = as.character(packageVersion("lme4")),
    lmerTest = as.character(packageVersion("lmerTest"))),
  score = d$score, estimate = row[[1]], se = row[[2]], df = row[[3]], p = row[[5]],
  lots = sd$sdcor[sd$grp == "sample"], own = sqrt(2) * sd$sdcor[sd$grp == "assessor:recipe"],
  cells = sqrt(sd$vcov[sd$grp == "assessor:sample"] + sd$vcov[sd$grp == "Residual"] / 2)),
  digits = 12, auto_unbox = TRUE), "tests/ratings/r/recipes.json")
