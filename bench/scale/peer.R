# Cells by data.table, and a falloff with random effects by lme4, at the bend of a plain
# fit: slope and its standard error.
suppressMessages({library(data.table); library(lme4)})
d <- fread(commandArgs(TRUE)[1], select = c("session", "pickup", "string", "core_mm", "pole_height_mm", "string_height_mm", "mode", "rms_mv", "quiet_mv", "status"))
d <- d[mode == "P" & status == "ok"]
d[is.na(quiet_mv), quiet_mv := 0]
d[, v2 := rms_mv^2 - quiet_mv^2]
c <- d[v2 > 0, .(y = mean(0.5 * log(v2))), by = .(pickup, session, string, core_mm, pole_height_mm, string_height_mm)]
c[, gap := string_height_mm - pole_height_mm]
rss <- function(bend) sum(resid(lm(y ~ log(core_mm) + pole_height_mm + log(gap + bend), c))^2)
bend <- optimize(rss, c(0.5, 30))$minimum
m <- lmer(y ~ log(core_mm) + pole_height_mm + log(gap + bend) + (1 | pickup) + (1 | session), c)
b <- summary(m)$coefficients[4, ]
cat(nrow(c), -b[1] / (3.5 + bend), b[2] / (3.5 + bend), "\n")
