#!/usr/bin/env Rscript
# What `review --plain` says, as a user of R would compute it from the same file, vectorised: the same as plain.py, with
# orders of its own for the change test (a fixed seed).
# usage: Rscript plain.R DATABASE OUT_FOLDER [AS_OF]
suppressMessages({library(DBI); library(RSQLite)})
args <- commandArgs(trailingOnly = TRUE)
as_of <- if (length(args) > 2) args[3] else "2026-09-30T12:00:00"
as_of <- as.numeric(as.POSIXct(as_of, format = "%Y-%m-%dT%H:%M:%S", tz = "UTC"))
db <- dbConnect(SQLite(), args[1], flags = SQLITE_RO)
ask <- function(sql) dbGetQuery(db, gsub(":as_of", sprintf("%.0f", as_of), sql, fixed = TRUE))
FEWEST <- 8; BASE <- 6; RUN_LENGTH <- 370.4; WEIGHT <- 0.2; REFERENCE <- 0.5; LEVEL <- 0.05; ORDERS <- 1999
KEY <- 2^34

# Straight lines between the readings of many meters, looked up all at once.
curves <- function(of, at, y) {
  o <- order(of, at); of <- as.numeric(of[o]); at <- as.numeric(at[o]); y <- as.numeric(y[o])
  key <- of * KEY + at
  end <- which(c(diff(of) != 0, TRUE)); start <- c(1, head(end, -1) + 1)
  inside <- function(o, t) {
    i <- pmin(pmax(findInterval(o * KEY + t, key), 1), length(key) - 1)
    same <- of[i] == o & of[i + 1] == o
    flat <- ifelse(of[i] == o, y[i], y[i + 1])
    ifelse(same, y[i] + (t - at[i]) / pmax(at[i + 1] - at[i], 1) * (y[i + 1] - y[i]), flat)
  }
  recent <- pmax(at[start], at[end] - 90 * 86400)
  use <- pmin(pmax((y[end] - inside(of[end], recent)) / pmax(at[end] - recent, 1), 0), 1 / 3600)
  function(o, t) {
    k <- match(o, of[end])
    use_of <- ifelse(is.na(k), 0, use[k])
    past <- pmax(t - at[end][k], 0) - pmax(at[start][k] - t, 0)
    inside(o, t) + use_of * ifelse(is.na(past), 0, past)
  }
}

hours <- ask("SELECT e.shaft_id s, e.at_utc_s t, h.reading_s y FROM hours h JOIN entry e USING (entry_id)
              WHERE e.at_utc_s <= :as_of")
g <- ask("SELECT e.shaft_id s, e.at_utc_s t, lower(hex(e.uuid)) record, d.amount_mm3 mm3, d.ended FROM greasing d
          JOIN entry e USING (entry_id) WHERE d.ended <> 'not_done' AND e.at_utc_s <= :as_of")
g <- g[order(g$s, g$t, g$record), ]
n <- nrow(g); before <- c(1, seq_len(n - 1))
same <- c(FALSE, g$s[-1] == g$s[-n])
run_of <- curves(hours$s, hours$t, hours$y / 3600)
at <- run_of(g$s, as.numeric(g$t))
g$run <- ifelse(same, pmin(pmax(at - at[before], 0), (g$t - g$t[before]) / 3600), NA)
full <- g$ended %in% c("pressure", "packed")
feeds <- ask("SELECT lubricator_id l, shaft_id s, dose_mm3 FROM feed ORDER BY ifnull(from_utc_s, 0) DESC")
feeds <- feeds[!duplicated(feeds[c("l", "s")]), ]
cycles <- ask("SELECT e.lubricator_id l, e.at_utc_s t, c.cycle_count y FROM cycles c JOIN entry e USING (entry_id)
               WHERE e.at_utc_s <= :as_of")
has_counts <- nrow(feeds) > 0 && nrow(cycles) > 0
delivered <- numeric(n)
if (has_counts) {
  count <- curves(cycles$l, cycles$t, cycles$y)
  k <- match(g$s, feeds$s); fed <- !is.na(k)
  lub <- feeds$l[k[fed]]
  delivered[fed] <- (count(lub, as.numeric(g$t[fed])) - count(lub, as.numeric(g$t[before][fed]))) *
    feeds$dose_mm3[k[fed]] / 1000
}
g$value <- (g$mm3 / 1000 + ifelse(same, delivered, 0)) / g$run
work <- ask("SELECT e.shaft_id s, max(e.at_utc_s) t FROM work w JOIN entry e USING (entry_id)
             WHERE e.shaft_id IS NOT NULL AND w.work IN ('seal_replaced', 'bearing_replaced') AND e.at_utc_s <= :as_of
             GROUP BY e.shaft_id")
renewed <- work$t[match(g$s, work$s)]; renewed[is.na(renewed)] <- -1
since <- g$t >= renewed & same
starts <- since & g$t[before] < renewed
w <- which(since & !starts & full[before] & g$ended == "pressure" & !is.na(g$mm3) & g$run > 0)
w <- data.frame(of = g$s[w], record = g$record[w], value = g$value[w], middle = (at - g$run / 2)[w])

d <- data.frame(of = integer(), record = character(), value = numeric())
if (has_counts) {
  set <- ask("SELECT lubricator_id l, reservoir_mm3 FROM lubricator_setting ORDER BY ifnull(from_utc_s, 0) DESC")
  r <- ask("SELECT e.lubricator_id l, e.at_utc_s t, lower(hex(e.uuid)) record, d.level_pct_100 low, d.level_pct_100 high
            FROM level_reading d JOIN entry e USING (entry_id) WHERE e.at_utc_s <= :as_of UNION ALL
            SELECT e.lubricator_id, e.at_utc_s, lower(hex(e.uuid)), d.before_pct_100, d.after_pct_100
            FROM refill d JOIN entry e USING (entry_id) WHERE e.at_utc_s <= :as_of")
  r <- r[order(r$l, r$t, r$record), ]
  n <- nrow(r); before <- c(1, seq_len(n - 1))
  same <- c(FALSE, r$l[-1] == r$l[-n])
  used <- (r$high[before] - r$low) * (set$reservoir_mm3[match(r$l, set$l)] / 1e7)
  doses <- rowsum(feeds$dose_mm3, feeds$l)
  counted <- count(r$l, as.numeric(r$t))
  called <- (counted - counted[before]) * doses[match(r$l, rownames(doses)), 1] / 1000
  k <- which(same & called > 0)
  d <- data.frame(of = r$l[k], record = r$record[k], value = (used / called)[k])
}

# Run lengths by the integral equation; nodes of Gauss and Legendre from the symmetric matrix of their recurrence.
i <- 1:59; j <- matrix(0, 60, 60); j[cbind(i, i + 1)] <- j[cbind(i + 1, i)] <- i / sqrt(4 * i^2 - 1)
ev <- eigen(j, symmetric = TRUE); node <- ev$values; weight <- 2 * ev$vectors[1, ]^2
bisect <- function(f, low, high) {
  for (k in 1:60) { m <- (low + high) / 2; if (f(m) < RUN_LENGTH) low <- m else high <- m }
  (low + high) / 2
}
ewma_width <- bisect(function(width) {
  h <- width * sqrt(WEIGHT / (2 - WEIGHT)); u <- h * node
  k <- t(h * weight * t(outer(u, u, function(a, b) dnorm((b - (1 - WEIGHT) * a) / WEIGHT) / WEIGHT)))
  1 + sum(dnorm(u / WEIGHT) / WEIGHT * h * weight * solve(diag(60) - k, rep(1, 60)))
}, 1, 4)
cusum_limit <- bisect(function(h) {
  u <- h * (node + 1) / 2; s <- c(0, u)
  k <- cbind(pnorm(REFERENCE - s), t(h / 2 * weight * t(outer(s, u, function(a, b) dnorm(b - a + REFERENCE)))))
  solve(diag(61) - k, rep(1, 61))[1] / 2
}, 1, 8)

first_true <- function(m) { k <- max.col(m, ties.method = "first"); ifelse(m[cbind(seq_len(nrow(m)), k)], k - 1, -1) }
pick <- function(m) m[cbind(seq_len(nrow(m)), max.col(abs(m), ties.method = "first"))]
kendall <- new.env()
kendall_exact <- function(s, n) {
  if (s == 0) return(1)
  key <- as.character(n)
  if (is.null(kendall[[key]])) {
    p <- 1
    for (k in 2:n) {  # share of orders by inversions
      q <- numeric(length(p) + k - 1)
      for (m in 0:(k - 1)) q[m + seq_along(p)] <- q[m + seq_along(p)] + p / k
      p <- q
    }
    kendall[[key]] <- cumsum(p)
  }
  min(1, 2 * kendall[[key]][(n * (n - 1) / 2 - abs(s)) / 2 + 1])
}
mann_kendall <- function(h, x) {
  n <- length(x)
  s <- sum(sign(outer(x, x, "-")) * sign(outer(h, h, "-"))) / 2
  ties <- as.numeric(table(x))
  if (n <= 60 && max(ties) == 1) return(kendall_exact(s, n))
  v <- (n * (n - 1) * (2 * n + 5) - sum(ties * (ties - 1) * (2 * ties + 5))) / 18
  if (v > 0) 2 * pnorm(-abs(s - sign(s)) / sqrt(v)) else 1
}
theil_sen <- function(h, x) {
  dx <- outer(x, x, "-"); dh <- outer(h, h, "-"); k <- upper.tri(dx) & dh != 0
  median(dx[k] / dh[k])
}
set.seed(20211001)
orders <- new.env()
change <- function(x) {
  n <- length(x); key <- as.character(n)
  if (is.null(orders[[key]])) orders[[key]] <- replicate(ORDERS, sample.int(n))
  k <- 2:(n - 2); total <- sum(x)
  best <- function(columns) {
    left <- apply(columns, 2, cumsum)[k, , drop = FALSE]
    b <- left^2 / k + (total - left)^2 / (n - k)
    do.call(pmax, as.data.frame(t(b)))
  }
  seen <- best(matrix(x))
  (1 + sum(best(matrix(x[orders[[key]]], n)) >= seen * (1 - 1e-12))) / (ORDERS + 1)
}
methods <- function(frame, names, is_ratio, has_hours) {
  parts <- split(seq_len(nrow(frame)), frame$of)
  len <- lengths(parts)
  all <- c("fixed_rule", "shewhart", "ewma", "cusum", "mann_kendall", "change_point")
  few <- names(parts)[len < FEWEST]
  out <- list(data.frame(series = rep(names[few], each = 6), n = rep(len[len < FEWEST], each = 6),
                         method = rep(all, length(few)), untold = rep(1, 6 * length(few)),
                         statistic = rep(0, 6 * length(few)), since = rep(-1, 6 * length(few)),
                         slope = rep(NA_real_, 6 * length(few))))
  parts <- parts[len >= FEWEST]; len <- len[len >= FEWEST]
  if (length(parts) == 0) return(out[[1]])
  x <- t(vapply(parts, function(k) frame$value[k][seq_len(max(len))], numeric(max(len))))
  inside <- !is.na(x); later <- inside & col(x) > BASE
  mean <- rowMeans(x[, 1:BASE]); sigma <- rowMeans(abs(x[, 2:BASE] - x[, 1:(BASE - 1)])) / (2 / sqrt(pi))
  flat <- !(sigma > 1e-12 * pmax(1e-12, abs(mean)))
  put <- function(method, untold, statistic, since, slope = NA_real_)
    out[[length(out) + 1]] <<- data.frame(series = names[names(parts)], n = len, method = method, slope = slope,
                                          untold = as.integer(untold), statistic = statistic, since = since)
  over <- x / mean
  size <- if (is_ratio) pmax(over, 1 / pmax(over, 1e-9)) else over
  size[!later] <- -Inf
  at <- cbind(seq_len(nrow(x)), max.col(size, ties.method = "first"))
  put("fixed_rule", !(mean > 0), ifelse(size[at] > 0, over[at], 0), first_true(size > 2))
  z <- (x - mean) / sigma; z[!later] <- 0
  put("shewhart", flat, pick(z), first_true(abs(z) > 3))
  e <- mean; up <- down <- numeric(nrow(x)); ze <- cu <- matrix(0, nrow(x), ncol(x))
  for (i in (BASE + 1):ncol(x)) {
    ok <- inside[, i]
    e <- ifelse(ok, WEIGHT * x[, i] + (1 - WEIGHT) * e, e)
    half <- sigma * sqrt(WEIGHT / (2 - WEIGHT) * (1 - (1 - WEIGHT)^(2 * (i - BASE))))
    ze[, i] <- ifelse(ok, (e - mean) / half, 0)
    up <- pmax(0, up + (x[, i] - mean) / sigma - REFERENCE)
    down <- pmax(0, down - (x[, i] - mean) / sigma - REFERENCE)
    cu[, i] <- ifelse(ok, ifelse(up >= down, up, -down), 0)
  }
  put("ewma", flat, pick(ze), first_true(abs(ze) > ewma_width))
  put("cusum", flat, pick(cu), first_true(abs(cu) > cusum_limit))
  hours <- lapply(parts, function(k) if (has_hours) frame$middle[k] else seq_along(k))
  values <- lapply(parts, function(k) frame$value[k])
  slope <- NA_real_
  relative <- function(h, v) if (median(v) > 0) theil_sen(h, v) * 1e5 / median(v) else NA
  if (has_hours) slope <- mapply(relative, hours, values)
  put("mann_kendall", 0, mapply(mann_kendall, hours, values), -1, slope)
  put("change_point", 0, vapply(values, function(v) if (max(v) > min(v)) change(v) else 1, 0), -1)
  do.call(rbind, out)
}
label <- function(sql) { l <- ask(sql); setNames(l$name, l$k) }
shafts <- label("SELECT s.shaft_id k, v.code || '/' || s.code name FROM shaft s JOIN vessel v USING (vessel_id)")
units <- label("SELECT l.lubricator_id k, v.code || '/' || l.code name FROM lubricator l
                JOIN vessel v USING (vessel_id)")
rows <- methods(w, shafts, FALSE, TRUE)
if (nrow(d) > 0) rows <- rbind(rows, methods(d, units, TRUE, FALSE))
digits <- function(v) ifelse(is.na(v), "", sprintf("%.9g", v))
rows$statistic <- digits(rows$statistic); rows$slope <- digits(rows$slope)
write.csv(rows, file.path(args[2], "methods.csv"), row.names = FALSE, quote = FALSE)
both <- rbind(w[c("record", "value")], d[c("record", "value")]); both$value <- digits(both$value)
write.csv(both, file.path(args[2], "values.csv"), row.names = FALSE, quote = FALSE)
