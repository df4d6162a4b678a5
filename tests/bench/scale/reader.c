/* The lower bound of a review: reads the rows that a review reads, and nothing else.
 * usage: reader DATABASE [THREADS]
 * Vessel by vessel, kind by kind, in order of time: the same columns of the same tables by the same index, each value
 * fetched and added up so that none is left in the file. The vessels are dealt to the threads, each with a connection.
 * Prints: records, checksum.
 * Built by tests/bench/scale/run: cc -O2 reader.c -lsqlite3 -lpthread */
#include <pthread.h>
#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { kKinds = 8, kMostThreads = 64 };

static const char* const kDetails[kKinds][2] = {
    {"hours", "d.reading_s, d.is_new_meter, d.old_meter_s"},
    {"cycles", "d.cycle_count, d.is_new_counter"},
    {"level_reading", "d.level_pct_100"},
    {"refill",
     "d.amount_typed, d.amount_unit, d.amount_mm3, d.amount_nano_cm3_per_unit, d.before_pct_100, d.after_pct_100, "
     "d.grease_id, d.batch"},
    {"greasing",
     "d.amount_typed, d.amount_unit, d.amount_mm3, d.amount_nano_cm3_per_unit, d.gun_id, d.ended, d.purge, "
     "d.grease_id"},
    {"alarm", "d.alarm, d.cleared_utc_s, d.cleared_offset_min, d.cleared_precision"},
    {"work", "d.work"},
    {"inspection", "d.water_ppm, d.iron_ppm_milli, d.clearance_um"},
};

struct Part {
  const char* file;
  const int64_t* vessels;
  int count, first, step;
  uint64_t records, sum;
};

static void require(sqlite3* db, int is_good, const char* what) {
  if (is_good) return;
  fprintf(stderr, "reader: %s: %s\n", what, db != NULL ? sqlite3_errmsg(db) : "no memory");
  exit(1);
}

static sqlite3* open_file(const char* file) {
  sqlite3* db = NULL;
  require(db, sqlite3_open_v2(file, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, NULL) == SQLITE_OK, file);
  require(db, sqlite3_exec(db, "BEGIN", NULL, NULL, NULL) == SQLITE_OK, "BEGIN");
  return db;
}

static uint64_t value_of(sqlite3_stmt* row, int column) {
  uint64_t v = 0;
  switch (sqlite3_column_type(row, column)) {
    case SQLITE_INTEGER:
      return (uint64_t)sqlite3_column_int64(row, column);
    case SQLITE_NULL:
      return 1;
    default: {
      const void* bytes = sqlite3_column_blob(row, column);
      const int n = sqlite3_column_bytes(row, column);
      if (bytes != NULL) memcpy(&v, bytes, n < 8 ? (size_t)n : 8);
      return v + (uint64_t)n;
    }
  }
}

static void* read_part(void* of) {
  struct Part* p = of;
  sqlite3* db = open_file(p->file);
  sqlite3_stmt* rows[kKinds];
  char sql[1000];
  for (int k = 0; k < kKinds; ++k) {
    snprintf(sql, sizeof sql,
             "SELECT e.uuid, e.at_utc_s, e.at_precision, e.recorded_at_utc_s, e.shaft_id, e.lubricator_id, "
             "e.recorded_by, e.source_id, e.remark IS NOT NULL, %s FROM entry e CROSS JOIN %s d "
             "ON d.entry_id = e.entry_id WHERE e.vessel_id = ? AND e.kind = ? ORDER BY e.at_utc_s",
             kDetails[k][1], kDetails[k][0]);
    require(db, sqlite3_prepare_v2(db, sql, -1, &rows[k], NULL) == SQLITE_OK, sql);
  }
  for (int i = p->first; i < p->count; i += p->step) {
    for (int k = 0; k < kKinds; ++k) {
      sqlite3_bind_int64(rows[k], 1, p->vessels[i]);
      sqlite3_bind_int64(rows[k], 2, k + 1);
      const int columns = sqlite3_column_count(rows[k]);
      int rc;
      while ((rc = sqlite3_step(rows[k])) == SQLITE_ROW) {
        for (int c = 0; c < columns; ++c) p->sum += value_of(rows[k], c) * (uint64_t)(c + 1);
        ++p->records;
      }
      require(db, rc == SQLITE_DONE, "reading");
      sqlite3_reset(rows[k]);
    }
  }
  for (int k = 0; k < kKinds; ++k) sqlite3_finalize(rows[k]);
  sqlite3_close(db);
  return NULL;
}

int main(int argc, char** argv) {
  const int threads = argc > 2 ? atoi(argv[2]) : 1;
  if (argc < 2 || argc > 3 || threads < 1 || threads > kMostThreads) {
    fprintf(stderr, "expected reader DATABASE [THREADS], 1 to %d threads\n", kMostThreads);
    return 2;
  }
  sqlite3* db = open_file(argv[1]);
  sqlite3_stmt* list = NULL;
  require(db, sqlite3_prepare_v2(db, "SELECT vessel_id FROM vessel ORDER BY code", -1, &list, NULL) == SQLITE_OK,
          "vessels");
  int64_t* vessels = NULL;
  int count = 0, room = 0;
  while (sqlite3_step(list) == SQLITE_ROW) {
    if (count == room) {
      room = room == 0 ? 256 : 2 * room;
      vessels = realloc(vessels, (size_t)room * sizeof *vessels);
      require(NULL, vessels != NULL, "vessels");
    }
    vessels[count++] = sqlite3_column_int64(list, 0);
  }
  sqlite3_finalize(list);
  sqlite3_close(db);

  struct Part parts[kMostThreads];
  pthread_t crew[kMostThreads];
  for (int t = 0; t < threads; ++t) {
    parts[t] = (struct Part){argv[1], vessels, count, t, threads, 0, 0};
    require(NULL, pthread_create(&crew[t], NULL, read_part, &parts[t]) == 0, "thread");
  }
  uint64_t records = 0, sum = 0;
  for (int t = 0; t < threads; ++t) {
    pthread_join(crew[t], NULL);
    records += parts[t].records;
    sum += parts[t].sum;
  }
  free(vessels);
  printf("%llu %016llx\n", (unsigned long long)records, (unsigned long long)sum);
  return 0;
}
