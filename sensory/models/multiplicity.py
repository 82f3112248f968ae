"""Many comparisons at once: Dunnett, Tukey, Holm, Benjamini-Hochberg.

Tails are integrated by fixed quadrature and keep their digits when small: no number is
taken from one.

[1] Dunnett, C.W. (1955). Journal of the American Statistical Association 50, 1096-1121.
[2] Plackett, R.L. (1954). Biometrika 41, 351-360: derivative of a normal integral by a
    correlation.
[3] Kramer, C.Y. (1956). Biometrics 12, 307-310: Tukey's limits for unequal numbers.
[4] Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.
[5] Benjamini, Y. and Hochberg, Y. (1995). Journal of the Royal Statistical Society B 57,
    289-300.
"""
