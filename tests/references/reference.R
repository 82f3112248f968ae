# Reference values from R's own routines, one line a value:
# id, method, quantity, inputs as JSON, value, command, relative tolerance, with tabs between.
# The first line names the versions. Run by make_independent.py; alone: Rscript tests/references/reference.R
suppressPackageStartupMessages({ library(lme4); library(ordinal) })

put <- function(id, method, quantity, inputs, value, command, tolerance)
  cat(paste(id, method, quantity, inputs, sprintf("%.17g", value), command,
            format(tolerance), sep = "\t"), "\n", sep = "")

cat(R.version.string, "lme4", as.character(packageVersion("lme4")),
    "ordinal", as.character(packageVersion("ordinal")), "\n")

half <- qchisq(0.95, 1) / 2
cross <- function(f, from, to) uniroot(f, c(from, to), tol = 1e-12)$root

# Sizes by a plain scan, power -------------------------------------------------------
guess <- c(TRIANGLE = 1 / 3, DUO_TRIO = 1 / 2, TWO_OUT_OF_FIVE = 1 / 10)
size <- function(g, alpha, beta, pd, rule) {
  n <- 1:3000
  crit <- qbinom(1 - alpha, n, g) + 1
  ok <- pbinom(crit - 1, n, g + (1 - g) * pd) <= beta
  if (rule == "first") which(ok)[1] else max(which(!ok)) + 1
}
for (name in names(guess)) for (rule in c("first", "stable")) for (pd in c(0.2, 0.4)) {
  inputs <- sprintf('{"protocol": "%s", "alpha": 0.01, "beta": 0.1, "pd": %g, "rule": "%s"}',
                    name, pd, rule)
  put(paste("r_size", name, rule, pd, sep = "_"), "panel_size", "assessors", inputs,
      size(guess[[name]], 0.01, 0.1, pd, rule), "scan with qbinom and pbinom", 0)
}
for (name in names(guess)) {
  g <- guess[[name]]
  crit <- qbinom(0.95, 30, g) + 1
  inputs <- sprintf('{"protocol": "%s", "trials": 30, "alpha": 0.05, "pd": 0.35}', name)
  put(paste0("r_power_", name), "power", "power", inputs,
      pbinom(crit - 1, 30, g + (1 - g) * 0.35, lower.tail = FALSE), "pbinom", 1e-10)
}

# d-prime of paired comparison and 2-alternative counts by glm -----------------------
for (x in c(34, 41)) {
  n <- 50
  m <- glm(cbind(x, n - x) ~ 1, family = binomial("probit"),
           control = glm.control(epsilon = 1e-12))
  d <- sqrt(2) * coef(m)[[1]]
  ll <- function(v) dbinom(x, n, pnorm(v / sqrt(2)), log = TRUE)
  inputs <- sprintf('{"protocol": "PAIRED", "correct": %d, "trials": %d}', x, n)
  id <- paste0("r_paired_", x)
  how <- "glm(binomial('probit')); limits by uniroot on dbinom(log = TRUE)"
  put(paste0(id, "_d"), "estimate_dprime", "dprime", inputs, d, how, 1e-6)
  put(paste0(id, "_se"), "estimate_dprime", "se", inputs, sqrt(2 * vcov(m)[1, 1]), how, 1e-6)
  drop <- function(v) ll(v) - ll(d) + half
  put(paste0(id, "_low"), "estimate_dprime", "low", inputs, cross(drop, 0, d), how, 1e-6)
  put(paste0(id, "_high"), "estimate_dprime", "high", inputs, cross(drop, d, 8), how, 1e-6)
}

# A - not A by glm -------------------------------------------------------------------
for (t in list(c(32, 40, 14, 40), c(11, 25, 19, 31), c(88, 120, 51, 118))) {
  yes <- c(t[1], t[3]); no <- c(t[2] - t[1], t[4] - t[3]); kind <- c(0.5, -0.5)
  tight <- glm.control(epsilon = 1e-12)
  m <- glm(cbind(yes, no) ~ kind, family = binomial("probit"), control = tight)
  fixed <- function(v) as.numeric(logLik(glm(cbind(yes, no) ~ 1 + offset(v * kind),
                                             family = binomial("probit"), control = tight)))
  d <- coef(m)[["kind"]]
  drop <- function(v) fixed(v) - as.numeric(logLik(m)) + half
  inputs <- sprintf('{"counts": [%s]}', paste(t, collapse = ", "))
  id <- paste0("r_a_not_a_", t[1])
  how <- "glm(cbind(yes, no) ~ kind, binomial('probit'))"
  put(paste0(id, "_d"), "a_not_a", "dprime", inputs, d, how, 1e-6)
  put(paste0(id, "_se"), "a_not_a", "se", inputs, sqrt(vcov(m)["kind", "kind"]), how, 1e-6)
  put(paste0(id, "_c"), "a_not_a", "criterion", inputs, -coef(m)[[1]], how, 1e-6)
  put(paste0(id, "_low"), "a_not_a", "low", inputs, cross(drop, d - 3, d),
      "glm with offset(v * kind), uniroot", 1e-6)
  put(paste0(id, "_high"), "a_not_a", "high", inputs, cross(drop, d, d + 3),
      "glm with offset(v * kind), uniroot", 1e-6)
  put(paste0(id, "_p"), "a_not_a", "p_likelihood_ratio", inputs,
      pchisq(m$null.deviance - m$deviance, 1, lower.tail = FALSE), "deviances of glm", 1e-6)
  put(paste0(id, "_fisher"), "a_not_a", "p_fisher", inputs,
      fisher.test(cbind(yes, no), alternative = "greater")$p.value,
      "fisher.test(alternative = 'greater')", 1e-9)
}

# Clustered A - not A by glmer -------------------------------------------------------
# rows: hits, A samples, false alarms, not-A samples of each assessor
few <- rbind(c(2, 3, 1, 3), c(3, 3, 2, 3), c(1, 3, 0, 3), c(3, 3, 3, 3), c(0, 3, 0, 3),
             c(2, 3, 0, 3), c(3, 3, 1, 3), c(1, 3, 1, 3), c(3, 3, 0, 3), c(2, 3, 2, 3),
             c(1, 3, 0, 3), c(3, 3, 2, 3), c(0, 3, 1, 3), c(3, 3, 3, 3), c(2, 3, 1, 3))
ten <- rbind(c(9, 10, 5, 10), c(10, 10, 8, 10), c(4, 10, 1, 10), c(7, 10, 3, 10),
             c(2, 10, 0, 10), c(8, 10, 6, 10), c(6, 10, 4, 10), c(10, 10, 9, 10),
             c(5, 10, 2, 10), c(7, 10, 2, 10))
many <- rbind(c(38, 40, 30, 40), c(12, 40, 4, 40), c(40, 40, 38, 40), c(3, 40, 0, 40),
              c(29, 40, 12, 40), c(20, 40, 9, 40), c(40, 40, 40, 40), c(35, 40, 22, 40),
              c(1, 40, 0, 40), c(24, 40, 15, 40))
panels <- list(few = few, ten = ten, many = many)
for (name in names(panels)) {
  x <- panels[[name]]; n <- nrow(x)
  long <- data.frame(who = factor(rep(1:n, 2)), kind = rep(c(0.5, -0.5), each = n),
                     yes = c(x[, 1], x[, 3]), no = c(x[, 2] - x[, 1], x[, 4] - x[, 3]))
  tight <- glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
  m <- glmer(cbind(yes, no) ~ kind + (1 | who), long, binomial("probit"), nAGQ = 41,
             control = tight)
  null <- glmer(cbind(yes, no) ~ 1 + (1 | who), long, binomial("probit"), nAGQ = 41,
                control = tight)
  sd <- sqrt(unlist(VarCorr(m)))[[1]]
  d <- fixef(m)[["kind"]]
  inputs <- sprintf('{"answers": [%s]}', paste(apply(x, 1, function(r)
    sprintf("[%s]", paste(r, collapse = ", "))), collapse = ", "))
  how <- "glmer(cbind(yes, no) ~ kind + (1 | who), binomial('probit'), nAGQ = 41), bobyqa 1e-10"
  put(paste0("r_clustered_", name, "_d"), "a_not_a_by_assessor", "dprime", inputs, d, how, 1e-4)
  put(paste0("r_clustered_", name, "_sd"), "a_not_a_by_assessor", "sd_criterion", inputs, sd,
      how, 1e-4)
  put(paste0("r_clustered_", name, "_marginal"), "a_not_a_by_assessor", "dprime_marginal",
      inputs, d / sqrt(1 + sd^2), how, 1e-4)
  put(paste0("r_clustered_", name, "_lr"), "a_not_a_by_assessor", "chi_square", inputs,
      2 * as.numeric(logLik(m) - logLik(null)), how, 1e-4)
}

# Sureness by clm, R-index by wilcox.test --------------------------------------------
tables <- list(four = rbind(c(20, 12, 6, 2), c(6, 9, 13, 12)),
               six = rbind(c(15, 10, 8, 6, 4, 2), c(7, 8, 9, 9, 10, 7)),
               three = rbind(c(18, 9, 3), c(11, 12, 7), c(2, 9, 19)))
for (name in names(tables)) {
  t <- tables[[name]]; products <- nrow(t) - 1; grades <- ncol(t)
  long <- data.frame(product = factor(rep(0:products, grades)),
                     grade = factor(rep(1:grades, each = products + 1), ordered = TRUE),
                     count = as.vector(t))
  control <- clm.control(gradTol = 1e-10, maxIter = 200)
  m <- clm(grade ~ product, data = long, weights = count, link = "probit", control = control)
  inputs <- sprintf('{"table": [%s]}', paste(apply(t, 1, function(r)
    sprintf("[%s]", paste(r, collapse = ", "))), collapse = ", "))
  how <- "clm(grade ~ product, weights = count, link = 'probit', gradTol 1e-10)"
  for (j in 1:(grades - 1))
    put(paste("r_sureness", name, "threshold", j, sep = "_"), "sureness",
        paste0("threshold_", j), inputs, m$alpha[[j]], how, 1e-5)
  for (k in 1:products) {
    id <- paste("r_sureness", name, k, sep = "_")
    shift <- m$beta[[k]]
    others <- setdiff(1:products, k)
    fixed <- function(v) {
      long$held <- v * (long$product == k)
      for (o in others) long[[paste0("x", o)]] <- as.numeric(long$product == o)
      terms <- c("offset(held)", if (length(others)) paste0("x", others))
      as.numeric(logLik(clm(as.formula(paste("grade ~", paste(terms, collapse = " + "))),
                            data = long, weights = count, link = "probit", control = control)))
    }
    top <- as.numeric(logLik(m))
    drop <- function(v) fixed(v) - top + half
    put(paste0(id, "_d"), "sureness", paste0("dprime_", k), inputs, shift, how, 1e-5)
    put(paste0(id, "_low"), "sureness", paste0("low_", k), inputs,
        cross(drop, shift - 3, shift), "clm with offset, uniroot", 1e-5)
    put(paste0(id, "_high"), "sureness", paste0("high_", k), inputs,
        cross(drop, shift, shift + 3), "clm with offset, uniroot", 1e-5)
    put(paste0(id, "_p"), "sureness", paste0("p_likelihood_ratio_", k), inputs,
        pchisq(2 * (top - fixed(0)), 1, lower.tail = FALSE), "clm with offset 0", 1e-4)
    w <- wilcox.test(rep(1:grades, t[k + 1, ]), rep(1:grades, t[1, ]), exact = FALSE,
                     correct = FALSE)
    put(paste0(id, "_r"), "sureness", paste0("r_index_", k), inputs,
        w$statistic[[1]] / sum(t[k + 1, ]) / sum(t[1, ]), "wilcox.test, W / (n m)", 1e-12)
    put(paste0(id, "_rp"), "sureness", paste0("p_r_index_", k), inputs, w$p.value,
        "wilcox.test(exact = FALSE, correct = FALSE)", 1e-9)
  }
}
