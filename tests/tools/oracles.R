# R packages run as oracles: spc (average run lengths), boot (the coal-mining disasters). One line a value.
suppressPackageStartupMessages({library(spc); library(boot)})
for (k in c(0.25, 0.5, 1)) for (h in c(3, 4, 5)) for (shift in c(0, 0.5, 1, 2))
  cat("cusum", k, h, shift, sprintf("%.9g", xcusum.arl(k, h, shift, sided = "two", r = 80)), "\n")
# Shiryaev-Roberts: k is half the shift looked for, g the limit on ln R.
for (g in c(2, 3, 4)) for (shift in c(0, 0.5, 1, 2))
  cat("sr", 0.5, g, shift, sprintf("%.9g", xgrsr.arl(0.5, g, shift, zr = -10, r = 60)), "\n")
for (date in coal$date) cat("coal", sprintf("%.9g", date), "\n")
