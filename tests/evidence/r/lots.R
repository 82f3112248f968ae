# Two recipes over pairs of lots: reference values for tests/evidence/test_lots.py.
# Rscript lots.R > lots.json
# Paired comparison: glmer, probit link, a random intercept a pair, 25 nodes; d-prime = sqrt(2) times.
# Triangle and a control pair: own integral of the decision rule and of the scatter, own optimiser.
suppressMessages(library(lme4))
right <- c(25, 30, 20, 22, 31); trials <- 36
frame <- data.frame(right = right, wrong = trials - right, pair = factor(seq_along(right)))
fit <- glmer(cbind(right, wrong) ~ 1 + (1 | pair), data = frame, family = binomial("probit"),
             nAGQ = 25, control = glmerControl(optimizer = "bobyqa", tolPwrss = 1e-12,
                                               optCtrl = list(rhobeg = 1e-3, rhoend = 1e-9)))
paired <- list(right = right, trials = trials, shift = unname(sqrt(2) * fixef(fit)),
               scatter = sqrt(2) * attr(VarCorr(fit)$pair, "stddev")[[1]])

pc <- function(d) integrate(function(z) 2 * (pnorm(-z * sqrt(3) + d * sqrt(2 / 3)) +
  pnorm(-z * sqrt(3) - d * sqrt(2 / 3))) * dnorm(z), 0, Inf, rel.tol = 1e-10)$value
one <- function(x, n, shift, scatter) {
  inside <- function(e) sapply(e, function(each) {
    p <- pc(abs(shift + scatter * each)); dbinom(x, n, p) * dnorm(each) })
  integrate(inside, -7, 7, rel.tol = 1e-8, subdivisions = 400)$value }
x <- c(18, 27, 14, 24); n <- 36; control <- 15
loss <- function(at) -sum(log(sapply(x, function(k) one(k, n, at[1], at[2])))) -
  log(one(control, n, 0, at[2]))
best <- optim(c(1.5, 0.6), loss, method = "L-BFGS-B", lower = c(0, 0.01),
              control = list(factr = 10))
triangle <- list(right = x, trials = n, control = control, shift = best$par[1],
                 scatter = best$par[2])
show <- function(l) paste0("{", paste(sprintf("\"%s\": %s", names(l), sapply(l, function(v)
  if (length(v) > 1) paste0("[", paste(v, collapse = ", "), "]") else format(v, digits = 10))),
  collapse = ", "), "}")
cat(sprintf("{\"R\": \"%s\", \"lme4\": \"%s\",\n \"paired\": %s,\n \"triangle\": %s}\n",
            paste(R.version$major, R.version$minor, sep = "."), packageVersion("lme4"),
            show(paired), show(triangle)))
