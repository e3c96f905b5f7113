/* route.c - what can be asked. docs/openapi.json says the same; a test holds the two together. */
#include "serve.h"

#include <stdlib.h>
#include <string.h>

static const route routes[] = {
    {"GET", "/api/status", ROUTE_QUICK, FOR_ANYONE, api_status, ""},
    {"POST", "/api/pair", ROUTE_HAND, FOR_ANYONE | TAKES_BODY, api_pair, ""},
    {"POST", "/api/pairing", ROUTE_QUICK, TAKES_BODY, api_pairing, ""},
    {"GET", "/api/devices", ROUTE_QUICK, 0, api_devices, ""},
    {"DELETE", "/api/devices/{number}", ROUTE_HAND, 0, api_device_revoke, ""},
    {"GET", "/api/cards", ROUTE_HAND, 0, api_cards, ""},
    {"GET", "/api/job-keys", ROUTE_QUICK, 0, api_job_keys, ""},
    {"GET", "/api/brief", ROUTE_HAND, HEAVY, api_brief, "was now"},
    {"GET", "/api/brief.pdf", ROUTE_HAND, HEAVY, api_brief_pdf, "was now paper"},
    {"GET", "/api/brief.html", ROUTE_HAND, HEAVY, api_brief_html, "was now"},
    {"GET", "/api/what-ifs", ROUTE_QUICK, 0, api_what_ifs, ""},
    {"GET", "/api/live", ROUTE_QUICK, 0, api_live, ""},
    {"POST", "/api/live/moved", ROUTE_QUICK, TAKES_BODY, api_live_moved, ""},
    {"GET", "/api/practice", ROUTE_QUICK, 0, api_practice, ""},
    {"POST", "/api/practice", ROUTE_HAND, NEEDS_KEY | TAKES_BODY, api_practice_new, ""},
    {"GET", "/api/practice/{number}", ROUTE_HAND, 0, api_practice_state, ""},
    {"POST", "/api/practice/{number}/moves", ROUTE_HAND, NEEDS_KEY | TAKES_BODY, api_practice_move,
     ""},
    {"POST", "/api/practice/{number}/end", ROUTE_HAND, NEEDS_KEY | TAKES_BODY, api_practice_end,
     ""},
    {"GET", "/api/practice/{number}/review", ROUTE_HAND, HEAVY, api_practice_review, ""},
    {"GET", "/api/practice/{number}/events", ROUTE_NEEDLES, 0, NULL, ""},
    {"GET", "/api/classes", ROUTE_HAND, 0, api_classes, ""},
    {"POST", "/api/classes", ROUTE_HAND, NEEDS_KEY | TAKES_BODY, api_class_new, ""},
    {"GET", "/api/classes/{number}", ROUTE_HAND, 0, api_class, ""},
    {"DELETE", "/api/classes/{number}", ROUTE_HAND, 0, api_class_close, ""},
    {"GET", "/api/classes/{number}/events", ROUTE_BOARD, 0, NULL, ""},
    {"GET", "/api/jobs", ROUTE_HAND, 0, api_jobs, "search"},
    {"POST", "/api/jobs", ROUTE_HAND, NEEDS_KEY | TAKES_BODY | TAKES_YAML, api_job_create, ""},
    {"GET", "/api/jobs/{number}", ROUTE_HAND, 0, api_job, ""},
    {"PUT", "/api/jobs/{number}", ROUTE_HAND, NEEDS_KEY | NEEDS_RUN | TAKES_BODY | TAKES_YAML,
     api_job_put, ""},
    {"POST", "/api/jobs/{number}/readings", ROUTE_HAND, NEEDS_KEY | TAKES_BODY, api_reading_add,
     ""},
    {"GET", "/api/jobs/{number}/work", ROUTE_HAND, 0, api_work, ""},
    {"GET", "/api/jobs/{number}/sheet.pdf", ROUTE_HAND, HEAVY, api_sheet, "paper"},
    {"GET", "/api/jobs/{number}/readings.csv", ROUTE_HAND, 0, api_readings_csv, ""},
    {"GET", "/api/jobs/{number}/causes", ROUTE_HAND, HEAVY, api_causes, ""},
    {"GET", "/api/jobs/{number}/idle", ROUTE_HAND, HEAVY, api_idle, ""},
    {"GET", "/api/jobs/{number}/idle-curves", ROUTE_HAND, HEAVY, api_idle_curves, "hold"},
    {"GET", "/api/jobs/{number}/map", ROUTE_HAND, HEAVY, api_map, ""},
    {"GET", "/api/jobs/{number}/off-idle", ROUTE_HAND, HEAVY, api_off_idle, ""},
    {"GET", "/api/jobs/{number}/watch", ROUTE_HAND, HEAVY, api_watch, "run to edit"},
    {"POST", "/api/jobs/{number}/try", ROUTE_HAND, HEAVY | TAKES_BODY, api_try, ""},
    {"GET", "/api/jobs/{number}/events", ROUTE_STREAM, 0, NULL, ""},
};
enum { ROUTES = sizeof routes / sizeof routes[0] };

/* 1 to 15 digits without a leading 0; the first letter behind them, or NULL. */
static const char *whole_number(const char *text, int64_t *number) {
  size_t digits = strspn(text, "0123456789");
  if (digits < 1 || digits > 15 || text[0] == '0') return NULL;
  *number = strtoll(text, NULL, 10);
  return text + digits;
}

static bool fits(const char *shape, const char *path, int64_t *number) {
  static const char mark[] = "{number}";
  while (*shape) {
    if (strncmp(shape, mark, sizeof mark - 1) == 0) {
      path = whole_number(path, number);
      if (!path) return false;
      shape += sizeof mark - 1;
    } else if (*shape++ != *path++) {
      return false;
    }
  }
  return !*path;
}

const route *route_find(const char *method, const char *path, int64_t *number, char *allow,
                        size_t size) {
  allow[0] = '\0';
  for (size_t i = 0; i < ROUTES; i++) {
    int64_t found = 0;
    if (!fits(routes[i].path, path, &found)) continue;
    if (strcmp(routes[i].method, method) == 0) {
      *number = found;
      return &routes[i];
    }
    lw_text_append(allow, size, allow[0] ? ", %s" : "%s", routes[i].method);
  }
  return NULL;
}

const route *route_list(size_t *count) {
  *count = ROUTES;
  return routes;
}
