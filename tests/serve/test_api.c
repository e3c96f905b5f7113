/* test_api.c - the server against docs/openapi.json, both ways: every address, method and status
** that is written there is met here and has the shape written there; what the server knows beyond
** it, and keys it does not name, are failures.
*/
#include "serve_kit.h"

#include "serve.h"

#include "leanward/card.h"

#include <sys/stat.h>

static json_t *api;
static served kit;
static int64_t demo, leaking;

enum { SEEN_MOST = 400 };
static char seen[SEEN_MOST][120];
static size_t seen_count;

/* ---- shapes ---- */

static const json_t *resolve(const json_t *schema) {
  const char *ref = json_string_value(json_object_get(schema, "$ref"));
  static const char root[] = "#/components/schemas/";
  if (!ref) return schema;
  if (strncmp(ref, root, sizeof root - 1) != 0) fail_msg("a reference to %s", ref);
  json_t *all = json_object_get(json_object_get(api, "components"), "schemas");
  json_t *found = json_object_get(all, ref + sizeof root - 1);
  if (!found) fail_msg("%s is not there", ref);
  return found;
}

static bool is_type(const char *type, const json_t *value) {
  if (strcmp(type, "object") == 0) return json_is_object(value);
  if (strcmp(type, "array") == 0) return json_is_array(value);
  if (strcmp(type, "string") == 0) return json_is_string(value);
  if (strcmp(type, "integer") == 0) return json_is_integer(value);
  if (strcmp(type, "number") == 0) return json_is_number(value);
  if (strcmp(type, "boolean") == 0) return json_is_boolean(value);
  return strcmp(type, "null") == 0 && json_is_null(value);
}

static bool is_any_type(const json_t *types, const json_t *value) {
  if (json_is_string(types)) return is_type(json_string_value(types), value);
  for (size_t i = 0; i < json_array_size(types); i++) {
    if (is_type(json_string_value(json_array_get(types, i)), value)) return true;
  }
  return !types;
}

/* Into why: the first place that does not fit; "" when all does. */
static void check_shape(const json_t *schema, const json_t *value, const char *at, char why[400]);

static void check_object(const json_t *schema, const json_t *value, const char *at, char why[400]) {
  const char *key;
  json_t *member;
  const json_t *properties = json_object_get(schema, "properties");
  const json_t *required = json_object_get(schema, "required");
  json_object_foreach((json_t *)(uintptr_t)value, key, member) {
    char place[300];
    const json_t *of = json_object_get(properties, key);
    snprintf(place, sizeof place, "%.200s.%s", at, key);
    if (of) check_shape(of, member, place, why);
    bool closed = json_is_false(json_object_get(schema, "additionalProperties"));
    if (!of && closed && !why[0]) snprintf(why, 400, "%s is not described", place);
  }
  for (size_t i = 0; i < json_array_size(required); i++) {
    const char *name = json_string_value(json_array_get(required, i));
    if (!json_object_get(value, name) && !why[0]) snprintf(why, 400, "%s.%s is missing", at, name);
  }
}

static bool in_list(const json_t *list, const json_t *value) {
  for (size_t i = 0; i < json_array_size(list); i++) {
    if (json_equal(json_array_get(list, i), value)) return true;
  }
  return false;
}

static void check_one_of(const json_t *choices, const json_t *value, const char *at,
                         char why[400]) {
  char first[400] = "";
  for (size_t i = 0; i < json_array_size(choices); i++) {
    char inner[400] = "";
    check_shape(json_array_get(choices, i), value, at, inner);
    if (!inner[0]) return;
    snprintf(first, sizeof first, "%s", inner);
  }
  snprintf(why, 400, "%s", first);
}

static void check_shape(const json_t *schema, const json_t *value, const char *at, char why[400]) {
  schema = resolve(schema);
  const json_t *choices = json_object_get(schema, "oneOf"),
               *words = json_object_get(schema, "enum");
  const json_t *items = json_object_get(schema, "items");
  if (why[0]) return;
  if (choices) {
    check_one_of(choices, value, at, why);
    return;
  }
  if (!is_any_type(json_object_get(schema, "type"), value)) {
    char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
    snprintf(why, 400, "%s is of another type: %.100s", at, text);
    free(text);
    return;
  }
  if (words && !in_list(words, value)) snprintf(why, 400, "%s is another word", at);
  if (json_is_object(value)) check_object(schema, value, at, why);
  for (size_t i = 0; items && i < json_array_size(value); i++) {
    char place[300];
    snprintf(place, sizeof place, "%.200s[%zu]", at, i);
    check_shape(items, json_array_get(value, i), place, why);
  }
}

/* ---- asking by what is written ---- */

static json_t *operation(const char *method, const char *shape) {
  char lower[10];
  size_t i = 0;
  for (; method[i] && i < sizeof lower - 1; i++)
    lower[i] = (char)(method[i] + ('a' - 'A'));
  lower[i] = '\0';
  return json_object_get(json_object_get(json_object_get(api, "paths"), shape), lower);
}

static void note_seen(const char *method, const char *shape, int status) {
  char line[120];
  snprintf(line, sizeof line, "%s %s %d", method, shape, status);
  for (size_t i = 0; i < seen_count; i++) {
    if (strcmp(seen[i], line) == 0) return;
  }
  assert_true(seen_count < SEEN_MOST);
  memcpy(seen[seen_count++], line, sizeof line);
}

static void check_answer(const char *method, const char *shape, const answer *a) {
  char code[8], type[100], why[400] = "";
  snprintf(code, sizeof code, "%d", a->status);
  json_t *responses = json_object_get(operation(method, shape), "responses");
  json_t *said = json_object_get(responses, code);
  bool everywhere = json_object_get(json_object_get(api, "x-everywhere"), code) != NULL;
  if (!said && !everywhere) {
    fail_msg("%s %s gives %s, which is not written: %.300s", method, shape, code, a->body);
  }
  snprintf(type, sizeof type, "%s", head_of(a, "Content-Type"));
  json_t *content = json_object_get(json_object_get(said, "content"), type);
  if (said && !content) fail_msg("%s %s %s gives %s", method, shape, code, type);
  if (strcmp(type, "application/json") != 0) return;
  json_t *value = json_of(a);
  json_t *error =
      json_object_get(json_object_get(json_object_get(api, "components"), "schemas"), "Error");
  check_shape(said ? json_object_get(content, "schema") : error, value, "", why);
  json_decref(value);
  if (why[0]) fail_msg("%s %s %s: %s", method, shape, code, why);
}

/* Ask for path, which is of shape, and hold the answer to what is written. Its status is status. */
static answer call(int status, const char *method, const char *shape, const char *path,
                   const char *heads, const char *body) {
  if (!operation(method, shape)) fail_msg("%s %s is not written", method, shape);
  answer a = must_ask(&kit, status, method, path, heads, body);
  check_answer(method, shape, &a);
  note_seen(method, shape, a.status);
  return a;
}

static void calls(int status, const char *method, const char *shape, const char *path,
                  const char *heads, const char *body) {
  answer a = call(status, method, shape, path, heads, body);
  answer_free(&a);
}

static const char *of_job(int64_t job, const char *rest) {
  static char path[4][100];
  static int at;
  char *p = path[at++ % 4];
  snprintf(p, sizeof path[0], "/api/jobs/%lld%s", (long long)job, rest);
  return p;
}

/* ---- the tests ---- */

static int set_up(void **state) {
  char path[300];
  json_error_t error;
  (void)state;
  snprintf(path, sizeof path, "%s/docs/openapi.json", getenv("SOURCE_ROOT"));
  api = json_load_file(path, JSON_REJECT_DUPLICATES, &error);
  if (!api) fail_msg("openapi.json:%d: %s", error.line, error.text);
  server_start(&kit, NULL);
  demo = put_in(&kit, "demo");
  leaking = put_in(&kit, "vacuum-leak");
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  assert_int_equal(server_end(&kit, SIGTERM), 0);
  remove_folder(kit.folder);
  json_decref(api);
  return 0;
}

static void every_route_is_written_and_every_address_is_served(void **state) {
  size_t count = 0, written = 0;
  const char *shape;
  json_t *methods;
  (void)state;
  const route *routes = route_list(&count);
  for (size_t i = 0; i < count; i++) {
    if (!operation(routes[i].method, routes[i].path)) {
      fail_msg("%s %s is served and not written", routes[i].method, routes[i].path);
    }
  }
  json_object_foreach(json_object_get(api, "paths"), shape, methods) {
    written += json_object_size(methods);
  }
  assert_int_equal(written, count);
}

static void lists_and_status(void **state) {
  (void)state;
  calls(200, "GET", "/api/status", "/api/status", NULL, NULL);
  calls(200, "GET", "/api/cards", "/api/cards", NULL, NULL);
  calls(200, "GET", "/api/devices", "/api/devices", NULL, NULL);
  calls(200, "GET", "/api/jobs", "/api/jobs", NULL, NULL);
  answer a = call(200, "GET", "/api/jobs", "/api/jobs?search=290%20SEDAN", NULL, NULL);
  json_t *json = json_of(&a);
  assert_int_equal(json_array_size(json_object_get(json, "jobs")), 1);
  json_decref(json);
  answer_free(&a);
  calls(400, "GET", "/api/jobs", "/api/jobs?serach=x", NULL, NULL);
}

static void without_an_instrument_nothing_is_live(void **state) {
  (void)state;
  calls(200, "GET", "/api/live", "/api/live", NULL, NULL);
  calls(409, "POST", "/api/live/moved", "/api/live/moved", JSON_HEAD, "{}");
}

/* The data of the first event that holds these words, from a stream that is opened now. With move,
   a screw is said to have been turned once the stream has begun. */
static json_t *event_with(const served *s, const char *words, bool move) {
  static char text[400000];
  char head[200];
  size_t used = 0;
  int fd = connect_to("127.0.0.1", s->port);
  int length = snprintf(head, sizeof head,
                        "GET /api/jobs/1/events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", s->port);
  send_all(fd, head, (size_t)length);
  const char *found = NULL, *end = NULL;
  while (!end) {
    ssize_t got = recv(fd, text + used, sizeof text - 1 - used, 0);
    if (got <= 0) fail_msg("no event with %s came: %.300s", words, text);
    used += (size_t)got;
    text[used] = '\0';
    if (move && strstr(text, "event: begin")) {
      gives(s, 200, "POST", "/api/live/moved", JSON_HEAD, "{}");
      move = false;
    }
    found = strstr(text, words);
    end = found ? strstr(found, "\n\n") : NULL;
  }
  close(fd);
  while (strncmp(found, "\nevent: ", 8) != 0)
    found--;
  found = strstr(found, "data: ") + 6;
  json_t *json = json_loadb(found, (size_t)(end - found), 0, NULL);
  if (!json) fail_msg("no JSON: %.300s", found);
  return json;
}

static void fits_schema(const char *name, const json_t *value) {
  char why[400] = "", ref[100];
  snprintf(ref, sizeof ref, "#/components/schemas/%s", name);
  json_t *schema = json_pack("{s:s}", "$ref", ref);
  check_shape(schema, value, name, why);
  json_decref(schema);
  if (why[0]) fail_msg("%s", why);
}

static void what_is_live_is_as_written(void **state) {
  served with = {0};
  char path[200], option[240];
  (void)state;
  snprintf(with.folder, sizeof with.folder, "%s", fresh_folder());
  snprintf(with.store, sizeof with.store, "%s/jobs.db", with.folder);
  snprintf(path, sizeof path, "%s/played.csv", with.folder);
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  fputs("time [s],CO [%],HC [ppm hexane],speed [rpm],vacuum [inHg]\n", file);
  for (int i = 0; i < 3000; i++)
    fprintf(file, "%d.%d,1.2%d,21%d,65%d,17.%d\n", i / 10, i % 10, i % 3, i % 5, i % 2, i % 4);
  fclose(file);
  snprintf(option, sizeof option, "--replay=%s", path);
  server_start(&with, option);
  put_in(&with, "demo");
  json_t *entry = event_with(&with, "\"kind\":\"reading\"", false);
  fits_schema("LiveEntry", entry);
  json_decref(entry);
  answer a = must_ask(&with, 200, "GET", "/api/live", NULL, NULL);
  check_answer("GET", "/api/live", &a);
  answer_free(&a);
  gives(&with, 409, "POST", "/api/live/moved", JSON_HEAD, "{}");
  assert_int_equal(server_end(&with, SIGTERM), 0);
  remove_folder(with.folder);
}

/* An instrument that is not plugged in is waited for. */
static void what_was_moved_is_told(void **state) {
  served with = {0};
  char option[300];
  (void)state;
  snprintf(option, sizeof option, "--listen=%s/instruments/corran-tachometer.yaml",
           getenv("SOURCE_ROOT"));
  server_start(&with, option);
  put_in(&with, "demo");
  json_t *entry = event_with(&with, "\"kind\":\"moved\"", true);
  fits_schema("LiveEntry", entry);
  json_decref(entry);
  answer a = must_ask(&with, 200, "POST", "/api/live/moved", JSON_HEAD, "{}");
  check_answer("POST", "/api/live/moved", &a);
  note_seen("POST", "/api/live/moved", 200);
  answer_free(&a);
  a = must_ask(&with, 200, "GET", "/api/live", NULL, NULL);
  check_answer("GET", "/api/live", &a);
  assert_non_null(strstr(a.body, "\"there\":false"));
  answer_free(&a);
  assert_int_equal(server_end(&with, SIGTERM), 0);
  remove_folder(with.folder);
}

static void pairing_here_needs_lan(void **state) {
  (void)state;
  calls(409, "POST", "/api/pairing", "/api/pairing", JSON_HEAD, "{}");
  calls(404, "DELETE", "/api/devices/{number}", "/api/devices/7", NULL, NULL);
  calls(400, "POST", "/api/pair", "/api/pair", JSON_HEAD, "[1]");
  calls(422, "POST", "/api/pair", "/api/pair", JSON_HEAD, "{\"token\": \"ABCDEFGHJK\"}");
  calls(403, "POST", "/api/pair", "/api/pair", JSON_HEAD,
        "{\"token\": \"ABCDEFGHJK\", \"name\": \"x\"}");
}

static void a_job_is_opened_and_worked(void **state) {
  static const char *const jobs[] = {"wrong-unit", "weak-cylinder", "two-gas",
                                     "probe-leak", "lean-enough",   "flat-spot"};
  (void)state;
  for (size_t i = 0; i < sizeof jobs / sizeof jobs[0]; i++) {
    int64_t job = put_in(&kit, jobs[i]);
    calls(200, "GET", "/api/jobs/{number}", of_job(job, ""), NULL, NULL);
    calls(200, "GET", "/api/jobs/{number}/work", of_job(job, "/work"), NULL, NULL);
  }
  calls(200, "GET", "/api/jobs/{number}", of_job(demo, ""), NULL, NULL);
  calls(200, "GET", "/api/jobs/{number}/work", of_job(demo, "/work"), NULL, NULL);
  calls(404, "GET", "/api/jobs/{number}", "/api/jobs/999", NULL, NULL);
  calls(404, "GET", "/api/jobs/{number}/work", "/api/jobs/999/work", NULL, NULL);
}

static void what_is_opened_is_what_was_written(void **state) {
  char *text = job_file("demo");
  (void)state;
  answer a = call(200, "GET", "/api/jobs/{number}", of_job(demo, ""), NULL, NULL);
  json_t *json = json_of(&a);
  assert_string_equal(json_string_value(json_object_get(json, "source")), text);
  json_t *document = json_object_get(json, "document");
  json_t *first = json_array_get(json_object_get(document, "readings"), 0);
  assert_string_equal(json_string_value(json_object_get(first, "CO")), "3.68 %");
  json_decref(json);
  answer_free(&a);
  free(text);
}

static void sheet_and_readings_come_as_files(void **state) {
  (void)state;
  answer a = call(200, "GET", "/api/jobs/{number}/sheet.pdf",
                  of_job(demo, "/sheet.pdf?paper=Letter"), NULL, NULL);
  assert_memory_equal(a.body, "%PDF-", 5);
  assert_non_null(strstr(head_of(&a, "Content-Disposition"), "job-CW-0117.pdf"));
  answer_free(&a);
  calls(422, "GET", "/api/jobs/{number}/sheet.pdf", of_job(demo, "/sheet.pdf?paper=A9"), NULL,
        NULL);
  calls(404, "GET", "/api/jobs/{number}/sheet.pdf", "/api/jobs/999/sheet.pdf", NULL, NULL);
  a = call(200, "GET", "/api/jobs/{number}/readings.csv", of_job(demo, "/readings.csv"), NULL,
           NULL);
  size_t lines = 0;
  for (const char *p = a.body; (p = strstr(p, "\r\n")) != NULL; p += 2)
    lines++;
  assert_int_equal(lines, 7);
  answer_free(&a);
  calls(404, "GET", "/api/jobs/{number}/readings.csv", "/api/jobs/999/readings.csv", NULL, NULL);
}

static void the_bench_answers(void **state) {
  (void)state;
  answer bare = must_ask(&kit, 201, "POST", "/api/jobs", KEY_HEAD("bench-bare-1"),
                         "{\"job\": \"CW-9000\", \"readings\": [{\"CO\": \"1 %\"}]}");
  int64_t without = number_in(&bare, "job");
  answer_free(&bare);
  calls(200, "GET", "/api/jobs/{number}/causes", of_job(leaking, "/causes"), NULL, NULL);
  calls(200, "GET", "/api/jobs/{number}/idle", of_job(demo, "/idle"), NULL, NULL);
  calls(409, "GET", "/api/jobs/{number}/idle", of_job(leaking, "/idle"), NULL, NULL);
  calls(200, "GET", "/api/jobs/{number}/idle-curves", of_job(demo, "/idle-curves"), NULL, NULL);
  calls(200, "GET", "/api/jobs/{number}/idle-curves", of_job(demo, "/idle-curves?hold=speed"), NULL,
        NULL);
  calls(400, "GET", "/api/jobs/{number}/idle-curves", of_job(demo, "/idle-curves?hold=breath"),
        NULL, NULL);
  calls(200, "GET", "/api/jobs/{number}/map", of_job(demo, "/map"), NULL, NULL);
  calls(200, "GET", "/api/what-ifs", "/api/what-ifs", NULL, NULL);
  static const char try_it[] = "/api/jobs/{number}/try";
  calls(200, "POST", try_it, of_job(demo, "/try"), JSON_HEAD,
        "{\"edits\": [\"main jet=+0.002 in\", \"altitude=1600 m\"]}");
  calls(
      200, "POST", try_it, of_job(demo, "/try"), JSON_HEAD,
      "{\"edits\": [\"altitude=1500 m\"], \"circuit\": {\"throttle\": 0.1, \"speed_rad_s\": 150}}");
  calls(422, "POST", try_it, of_job(demo, "/try"), JSON_HEAD,
        "{\"edits\": [\"altitude=0 m\"], \"circuit\": {\"throttle\": 2, \"speed_rad_s\": 150}}");
  calls(404, "POST", try_it, "/api/jobs/999/try", JSON_HEAD, "{\"edits\": [\"altitude=0 m\"]}");
  calls(422, "POST", try_it, of_job(demo, "/try"), JSON_HEAD, "{\"edits\": [\"main jt=+5 %\"]}");
  calls(422, "POST", try_it, of_job(demo, "/try"), JSON_HEAD, "{\"edits\": []}");
  calls(422, "POST", try_it, of_job(demo, "/try"), JSON_HEAD, "{\"edits\": [1]}");
  calls(422, "POST", try_it, of_job(demo, "/try"), JSON_HEAD, "{");
  static const char *const ends[] = {"/causes", "/idle", "/idle-curves", "/map"};
  for (size_t i = 0; i < 4; i++) {
    char shape[60];
    snprintf(shape, sizeof shape, "/api/jobs/{number}%s", ends[i]);
    calls(404, "GET", shape, of_job(999, ends[i]), NULL, NULL);
    calls(422, "GET", shape, of_job(without, ends[i]), NULL, NULL);
  }
}

static void needles_move_in_time(void **state) {
  static const char shape[] = "/api/jobs/{number}/watch", off[] = "/api/jobs/{number}/off-idle";
  static const char weak[] =
      "/watch?run=tip-in&to=60%20%25&edit=accelerator%20pump%3Dweak%2050%20%25";
  static const char many[] = "/watch?run=blip&edit=a&edit=a&edit=a&edit=a&edit=a&edit=a&edit=a";
  (void)state;
  answer bare = must_ask(&kit, 201, "POST", "/api/jobs", KEY_HEAD("watch-bare-1"),
                         "{\"job\": \"CW-9010\", \"readings\": [{\"CO\": \"1 %\"}]}");
  int64_t without = number_in(&bare, "job");
  answer_free(&bare);
  static const char *const runs[] = {"/watch?run=tip-in", "/watch?run=snap-shut", "/watch?run=blip",
                                     "/watch?run=pump-shot"};
  for (size_t i = 0; i < 4; i++)
    calls(200, "GET", shape, of_job(demo, runs[i]), NULL, NULL);
  answer a = call(200, "GET", shape, of_job(demo, weak), NULL, NULL);
  assert_non_null(strstr(a.body, "\"run\":\"tip-in\""));
  answer_free(&a);
  calls(400, "GET", shape, of_job(demo, "/watch?run=warm-up"), NULL, NULL);
  calls(400, "GET", shape, of_job(demo, "/watch"), NULL, NULL);
  calls(400, "GET", shape, of_job(demo, many), NULL, NULL);
  calls(422, "GET", shape, of_job(demo, "/watch?run=tip-in&to=far"), NULL, NULL);
  calls(422, "GET", shape, of_job(demo, "/watch?run=tip-in&edit=pump"), NULL, NULL);
  calls(422, "GET", shape, of_job(without, "/watch?run=blip"), NULL, NULL);
  calls(404, "GET", shape, of_job(999, "/watch?run=blip"), NULL, NULL);
  calls(404, "GET", off, of_job(999, "/off-idle"), NULL, NULL);
  calls(200, "GET", off, of_job(demo, "/off-idle"), NULL, NULL);
  a = call(200, "GET", off, of_job(without, "/off-idle"), NULL, NULL);
  assert_non_null(strstr(a.body, "\"faults\":[]"));
  answer_free(&a);
}

static void every_key_of_a_job_is_told(void **state) {
  (void)state;
  answer a = call(200, "GET", "/api/job-keys", "/api/job-keys", NULL, NULL);
  assert_non_null(strstr(a.body, "\"vacuum fall time\""));
  json_t *json = json_of(&a);
  assert_int_equal(json_array_size(json_object_get(json, "keys")), lw_job_table()->count);
  json_decref(json);
  answer_free(&a);
}

static void what_changed_is_told(void **state) {
  static const char two[] = "was=corran-290-eight-manual&now=1969/corran-290-eight-manual";
  static const struct {
    const char *shape, *begins;
  } forms[] = {
      {"/api/brief", "{\"title\""}, {"/api/brief.pdf", "%PDF-"}, {"/api/brief.html", "<!DOC"}};
  (void)state;
  for (size_t i = 0; i < 3; i++) {
    char path[200];
    snprintf(path, sizeof path, "%s?%s", forms[i].shape, two);
    answer a = call(200, "GET", forms[i].shape, path, NULL, NULL);
    assert_int_equal(strncmp(a.body, forms[i].begins, strlen(forms[i].begins)), 0);
    answer_free(&a);
    static const char *const bad[] = {"", "?was=../cards/x&now=1969/", "?was=./&now=1969/x",
                                      "?was=1969/&now=a/b/c", "?was=.hidden&now=x"};
    for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
      snprintf(path, sizeof path, "%s%s", forms[i].shape, bad[k]);
      calls(400, "GET", forms[i].shape, path, NULL, NULL);
    }
    snprintf(path, sizeof path, "%s?was=no-such&now=1969/none", forms[i].shape);
    a = call(404, "GET", forms[i].shape, path, NULL, NULL);
    assert_null(strstr(a.body, getenv("SOURCE_ROOT"))); /* no path of this machine */
    answer_free(&a);
    snprintf(path, sizeof path, "%s?was=1968/&now=./", forms[i].shape);
    a = call(404, "GET", forms[i].shape, path, NULL, NULL);
    assert_null(strstr(a.body, getenv("SOURCE_ROOT")));
    answer_free(&a);
  }
  calls(422, "GET", "/api/brief.pdf",
        "/api/brief.pdf?was=corran-290-eight-manual&now=corran-290-eight-manual&paper=A7", NULL,
        NULL);
}

static void write_card(const char *folder, const char *name, const char *text) {
  char path[400];
  snprintf(path, sizeof path, "%s/%s", folder, name);
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  fputs(text, file);
  assert_int_equal(fclose(file), 0);
}

/* A folder of cards of its own: one is wrong, and a year has nothing in common with the other. */
static void cards_that_are_wrong_are_told_so(void **state) {
  served with = {0};
  char root[300], cards[200];
  (void)state;
  snprintf(root, sizeof root, "%s", getenv("SOURCE_ROOT"));
  snprintf(with.folder, sizeof with.folder, "%s", fresh_folder());
  snprintf(with.store, sizeof with.store, "%s/jobs.db", with.folder);
  snprintf(cards, sizeof cards, "%s/cards", with.folder);
  assert_int_equal(mkdir(cards, 0700), 0);
  write_card(cards, "good.yaml", "unit: A\nengine name: six\nyear: 1968\n");
  write_card(cards, "wrong.yaml", "unit: [A]\n");
  snprintf(cards, sizeof cards, "%s/cards/1969", with.folder);
  assert_int_equal(mkdir(cards, 0700), 0);
  write_card(cards, "other.yaml", "unit: B\nengine name: eight\nyear: 1969\n");
  setenv("SOURCE_ROOT", with.folder, 1);
  server_start(&with, NULL);
  setenv("SOURCE_ROOT", root, 1);
  answer a = must_ask(&with, 200, "GET", "/api/cards", NULL, NULL);
  check_answer("GET", "/api/cards", &a);
  assert_null(strstr(a.body, "wrong"));
  assert_non_null(strstr(a.body, "\"card\":\"1969/other\""));
  answer_free(&a);
  static const char *const shapes[] = {"/api/brief", "/api/brief.pdf", "/api/brief.html"};
  for (size_t i = 0; i < 3; i++) {
    char path[100];
    snprintf(path, sizeof path, "%s?was=good&now=wrong", shapes[i]);
    a = must_ask(&with, 422, "GET", path, NULL, NULL);
    check_answer("GET", shapes[i], &a);
    note_seen("GET", shapes[i], 422);
    assert_non_null(strstr(a.body, "\"file\":\"cards/wrong.yaml\""));
    answer_free(&a);
    write_card(cards, "../wrong.yaml", "unit: C\n");
    snprintf(path, sizeof path, "%s?was=./&now=1969/", shapes[i]);
    a = must_ask(&with, 422, "GET", path, NULL, NULL);
    answer_free(&a);
    write_card(cards, "../wrong.yaml", "unit: [A]\n");
  }
  assert_int_equal(server_end(&with, SIGTERM), 0);
  remove_folder(with.folder);
}

/* More causes are asked for than there are hands: who lists jobs or saves a reading is answered
   before the first of them. */
static void slow_answers_hold_nobody_up(void **state) {
  enum { SLOW = 4 };
  char head[200];
  int fd[SLOW];
  (void)state;
  int length = snprintf(head, sizeof head,
                        "GET %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n"
                        "Connection: close\r\n\r\n",
                        of_job(leaking, "/causes"), kit.port);
  for (int i = 0; i < SLOW; i++) {
    fd[i] = connect_to("127.0.0.1", kit.port);
    send_all(fd[i], head, (size_t)length);
  }
  gives(&kit, 200, "GET", "/api/status", NULL, NULL);
  gives(&kit, 200, "GET", "/api/jobs", NULL, NULL);
  gives(&kit, 201, "POST", of_job(leaking, "/readings"), KEY_HEAD("meanwhile-1"),
        "{\"CO\": \"1.1 %\"}");
  for (int i = 0; i < SLOW; i++) {
    struct pollfd early = {.fd = fd[i], .events = POLLIN};
    assert_int_equal(poll(&early, 1, 0), 0);
  }
  for (int i = 0; i < SLOW; i++) {
    answer a = read_answer(fd[i]);
    assert_int_equal(a.status, 200);
    answer_free(&a);
    close(fd[i]);
  }
}

static void a_job_is_made_and_changed(void **state) {
  static const char tree[] =
      "{\"job\": \"CW-7\", \"car\": {\"year\": 1968, \"plate\": \"\\u00dc: #1\"}, "
      "\"card\": \"corran-220-six-manual\", \"notes\": [\"one\\ntwo\", null], \"date\": null, "
      "\"readings\": [{\"settled\": true, \"CO\": \"1.2 %\", \"speed\": \"650 rpm\"}]}";
  (void)state;
  answer a = call(201, "POST", "/api/jobs", "/api/jobs", KEY_HEAD("make-cw7-1"), tree);
  int64_t job = number_in(&a, "job"), run = number_in(&a, "run");
  answer_free(&a);
  calls(201, "POST", "/api/jobs", "/api/jobs", KEY_HEAD("make-cw7-1"), tree);
  calls(409, "POST", "/api/jobs", "/api/jobs", KEY_HEAD("make-cw7-1"), "{\"job\": \"CW-8\"}");
  calls(409, "POST", "/api/jobs", "/api/jobs", KEY_HEAD("make-cw7-2"), tree);
  calls(400, "POST", "/api/jobs", "/api/jobs", JSON_HEAD, tree);
  calls(422, "POST", "/api/jobs", "/api/jobs", KEY_HEAD("make-cw7-3"),
        "{\"job\": \"x\", \"CO\": 1}");
  calls(422, "POST", "/api/jobs", "/api/jobs", KEY_HEAD("make-cw7-4"),
        "{\"job\": \"x\", \"card\": \"../../etc/passwd\"}");
  char heads[200];
  snprintf(heads, sizeof heads, KEY_HEAD("put-cw7-0001") "If-Match: \"%lld\"\r\n", (long long)run);
  static const char other[] = "{\"job\": \"CW-7\", \"complaint\": \"stalls\"}";
  calls(200, "PUT", "/api/jobs/{number}", of_job(job, ""), heads, other);
  calls(200, "PUT", "/api/jobs/{number}", of_job(job, ""), heads, other);
  calls(409, "PUT", "/api/jobs/{number}", of_job(job, ""), heads, tree);
  snprintf(heads, sizeof heads, KEY_HEAD("put-cw7-0002") "If-Match: \"%lld\"\r\n", (long long)run);
  a = call(412, "PUT", "/api/jobs/{number}", of_job(job, ""), heads, tree);
  char tag[40];
  snprintf(tag, sizeof tag, "%s", head_of(&a, "ETag"));
  answer_free(&a);
  snprintf(heads, sizeof heads, KEY_HEAD("put-cw7-0003") "If-Match: %s\r\n", tag);
  calls(422, "PUT", "/api/jobs/{number}", of_job(job, ""), heads, "{\"job\": \"CW-77\"}");
  calls(404, "PUT", "/api/jobs/{number}", "/api/jobs/999", heads, tree);
  calls(428, "PUT", "/api/jobs/{number}", of_job(job, ""), KEY_HEAD("put-cw7-0004"), tree);
  calls(400, "PUT", "/api/jobs/{number}", of_job(job, ""), JSON_HEAD, tree);
}

static void a_reading_is_added_and_the_rest_stays(void **state) {
  static const char shape[] = "/api/jobs/{number}/readings";
  static const char item[] =
      "{\"label\": \"later\", \"CO\": \"1.1 %\", \"screws\": {\"air bleed\": "
      "\"2 1/2 turns\"}}";
  const char *path = of_job(demo, "/readings");
  (void)state;
  answer before = must_ask(&kit, 200, "GET", of_job(demo, ""), NULL, NULL);
  calls(201, "POST", shape, path, KEY_HEAD("reading-1"), item);
  calls(201, "POST", shape, path, KEY_HEAD("reading-1"), item);
  calls(409, "POST", shape, path, KEY_HEAD("reading-1"), "{\"CO\": \"1.2 %\"}");
  calls(422, "POST", shape, path, KEY_HEAD("reading-2"), "{\"CO\": \"1.2\"}");
  calls(422, "POST", shape, path, KEY_HEAD("reading-3"), "[]");
  calls(400, "POST", shape, path, JSON_HEAD, item);
  calls(404, "POST", shape, "/api/jobs/999/readings", KEY_HEAD("reading-4"), item);
  answer after = must_ask(&kit, 200, "GET", of_job(demo, ""), NULL, NULL);
  json_t *a = json_of(&before), *b = json_of(&after);
  const char *old = json_string_value(json_object_get(a, "source"));
  const char *new = json_string_value(json_object_get(b, "source"));
  const char *added = strstr(new, "  - label: later\n    CO: 1.1 %\n");
  assert_non_null(added);
  /* comments and all: the old text with these lines in it */
  assert_memory_equal(old, new, (size_t)(added - new));
  const char *rest = strstr(added, "done:\n");
  assert_string_equal(rest, old + (added - new));
  json_decref(a);
  json_decref(b);
  answer_free(&before);
  answer_free(&after);
}

/* ---- practice cars and classes ---- */

static char pass_head[320];

/* The pass an answer tells, as a header with a key. */
static const char *with_pass(const char *pass, const char *key) {
  snprintf(pass_head, sizeof pass_head, JSON_HEAD "Practice-Pass: %s\r\n%s%s%s", pass,
           key ? "Idempotency-Key: " : "", key ? key : "", key ? "\r\n" : "");
  return pass_head;
}

static void take_pass(const answer *a, char pass[80]) {
  json_t *json = json_of(a);
  snprintf(pass, 80, "%s", json_string_value(json_object_get(json, "pass")));
  json_decref(json);
}

static const char six[] = "{\"card\": \"corran-220-six-manual\", \"cause\": \"timing late\"}";

static void a_practice_car_is_asked_for(void **state) {
  static const char shape[] = "/api/practice";
  (void)state;
  calls(200, "GET", shape, shape, NULL, NULL);
  calls(201, "POST", shape, shape, KEY_HEAD("practice-1"), six);
  calls(201, "POST", shape, shape, KEY_HEAD("practice-1"), six);
  calls(409, "POST", shape, shape, KEY_HEAD("practice-1"), "{\"card\": \"corran-220-six-export\"}");
  calls(400, "POST", shape, shape, JSON_HEAD, six);
  calls(404, "POST", shape, shape, KEY_HEAD("practice-2"), "{\"card\": \"none\"}");
  calls(404, "POST", shape, shape, KEY_HEAD("practice-3"), "{\"class\": 99, \"name\": \"A\"}");
  static const char *const bad[] = {
      "[]",
      "{",
      "{}",
      "{\"card\": 7}",
      "{\"crad\": \"x\"}",
      "{\"class\": \"1\"}",
      "{\"class\": 1}",
      "{\"class\": 1, \"name\": \"A\", \"card\": \"x\"}",
      "{\"card\": \"corran-220-six-manual\", \"cause\": \"rust\"}",
      "{\"card\": \"corran-220-six-manual\", \"cause\": \"secondary plates not shut\"}",
      ("{\"card\": \"corran-220-six-manual\", \"name\": \"0123456789012345678901234567890123456789"
       "0\"}")};
  for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
    char heads[120];
    snprintf(heads, sizeof heads, JSON_HEAD "Idempotency-Key: practice-bad-%zu\r\n", i);
    calls(422, "POST", shape, shape, heads, bad[i]);
  }
}

static void a_practice_car_is_worked_on(void **state) {
  static const char one[] = "/api/practice/{number}", moves[] = "/api/practice/{number}/moves";
  static const char end[] = "/api/practice/{number}/end",
                    review[] = "/api/practice/{number}/review";
  char path[80], pass[80], wrong[82];
  (void)state;
  answer a = call(201, "POST", "/api/practice", "/api/practice", KEY_HEAD("practice-9"), six);
  take_pass(&a, pass);
  snprintf(wrong, sizeof wrong, "%s0", pass);
  snprintf(path, sizeof path, "/api/practice/%lld", (long long)number_in(&a, "practice"));
  answer_free(&a);
  calls(200, "GET", one, path, with_pass(pass, NULL), NULL);
  calls(403, "GET", one, path, NULL, NULL);
  calls(403, "GET", one, path, with_pass(wrong, NULL), NULL);
  calls(404, "GET", one, "/api/practice/999", with_pass(pass, NULL), NULL);
  char at[100];
  snprintf(at, sizeof at, "%s/moves", path);
  static const char *const good[] = {
      "{\"move\": \"read\"}",
      "{\"move\": \"turn\", \"screw\": \"speed screw\", \"turns\": -0.25}",
      "{\"move\": \"pedal\", \"share\": 0.05}",
      "{\"move\": \"pedal\", \"share\": 0}",
      "{\"move\": \"hold\", \"speed_rad_s\": 262}",
      "{\"move\": \"blip\"}",
      "{\"move\": \"wait\"}",
      "{\"move\": \"hose\", \"hose\": \"brake booster hose\", \"plugged\": true}",
      "{\"move\": \"check\", \"check\": \"fuel level\"}",
      "{\"move\": \"stop\"}",
      "{\"move\": \"start\"}",
      "{\"move\": \"name\", \"cause\": \"fuel level high\"}",
      "{\"move\": \"name\", \"cause\": \"timing late\"}"};
  char key[40];
  for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
    snprintf(key, sizeof key, "practice-move-%zu", i);
    calls(200, "POST", moves, at, with_pass(pass, key), good[i]);
  }
  static const char *const bad[] = {
      "[]",
      "{\"move\": \"kick\"}",
      "{\"move\": \"gear\", \"drive\": true}",
      "{\"move\": \"turn\", \"screw\": \"speed screw\", \"turns\": 99}",
      "{\"move\": \"turn\", \"screw\": \"mixture\", \"turns\": 0.1}",
      "{\"move\": \"read\", \"now\": true}",
      "{\"move\": \"pedal\", \"share\": 2}",
      "{\"move\": \"hose\", \"hose\": \"brake booster hose\", \"plugged\": 1}",
      "{\"move\": \"hold\", \"speed_rad_s\": 9000}",
      "{\"move\": \"check\", \"check\": \"luck\"}",
      "{\"move\": \"name\", \"cause\": \"rust\"}",
      "{\"move\": \"name\", \"cause\": \"timing late\"}"};
  for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
    snprintf(key, sizeof key, "practice-bad-%zu", i);
    calls(422, "POST", moves, at, with_pass(pass, key), bad[i]);
  }
  calls(409, "POST", moves, at, with_pass(pass, "practice-move-1"), good[0]);
  calls(400, "POST", moves, at, with_pass(pass, NULL), good[0]);
  calls(403, "POST", moves, at, with_pass(wrong, "practice-move-x"), good[0]);
  calls(404, "POST", moves, "/api/practice/999/moves", with_pass(pass, "practice-x-1"), good[0]);
  char last[100];
  snprintf(at, sizeof at, "%s/review", path);
  snprintf(last, sizeof last, "%s/end", path);
  calls(409, "GET", review, at, with_pass(pass, NULL), NULL);
  calls(400, "POST", end, last, with_pass(pass, NULL), "{}");
  calls(403, "POST", end, last, with_pass(wrong, "practice-end-1"), "{}");
  calls(404, "POST", end, "/api/practice/999/end", with_pass(pass, "practice-end-1"), "{}");
  calls(409, "POST", end, last, with_pass(pass, "practice-move-12"), "{}");
  calls(200, "POST", end, last, with_pass(pass, "practice-end-1"), "{}");
  calls(200, "GET", review, at, with_pass(pass, NULL), NULL);
  calls(200, "GET", review, at, with_pass(pass, NULL), NULL);
  calls(403, "GET", review, at, with_pass(wrong, NULL), NULL);
  calls(404, "GET", review, "/api/practice/999/review", with_pass(pass, NULL), NULL);
  snprintf(at, sizeof at, "%s/events", path);
  calls(409, "GET", "/api/practice/{number}/events", at, NULL, NULL);
  calls(404, "GET", "/api/practice/{number}/events", "/api/practice/999/events", NULL, NULL);
}

static void a_class_is_opened_and_closed(void **state) {
  static const char shape[] = "/api/classes", one[] = "/api/classes/{number}";
  static const char wish[] = "{\"title\": \"Tuesday\", \"card\": \"corran-220-six-manual\"}";
  char path[80], pass[80], body[80];
  (void)state;
  answer a = call(201, "POST", shape, shape, KEY_HEAD("class-1234"), wish);
  take_pass(&a, pass);
  long long number = (long long)number_in(&a, "class");
  answer_free(&a);
  calls(201, "POST", shape, shape, KEY_HEAD("class-1234"), wish);
  calls(409, "POST", shape, shape, KEY_HEAD("class-1234"), "{\"title\": \"W\", \"card\": \"x\"}");
  calls(400, "POST", shape, shape, JSON_HEAD, wish);
  calls(404, "POST", shape, shape, KEY_HEAD("class-1235"), "{\"title\": \"W\", \"card\": \"x\"}");
  calls(422, "POST", shape, shape, KEY_HEAD("class-1236"), "{\"title\": \" \", \"card\": \"x\"}");
  calls(422, "POST", shape, shape, KEY_HEAD("class-1237"), "{\"title\": \"W\"}");
  calls(200, "GET", shape, shape, NULL, NULL);
  snprintf(path, sizeof path, "/api/classes/%lld", number);
  snprintf(body, sizeof body, "{\"class\": %lld, \"name\": \"Ann\"}", number);
  calls(201, "POST", "/api/practice", "/api/practice", KEY_HEAD("join-12345"), body);
  calls(200, "GET", one, path, NULL, NULL);
  calls(200, "GET", one, path, with_pass(pass, NULL), NULL);
  calls(404, "GET", one, "/api/classes/99", NULL, NULL);
  calls(403, "DELETE", one, path, NULL, NULL);
  calls(404, "DELETE", one, "/api/classes/99", with_pass(pass, NULL), NULL);
  calls(200, "DELETE", one, path, with_pass(pass, NULL), NULL);
  calls(409, "POST", "/api/practice", "/api/practice", KEY_HEAD("join-12346"), body);
}

static void everything_written_was_met(void **state) {
  const char *shape, *method, *code;
  json_t *methods, *what, *said;
  /* tested where they can be: with --lan (test_guard.c), or as a stream (test_events.c,
     test_practice.c) */
  static const char *const elsewhere[] = {"POST /api/pair 201",
                                          "POST /api/pair 409",
                                          "POST /api/pairing 201",
                                          "DELETE /api/devices/{number} 200",
                                          "GET /api/jobs/{number}/events 200",
                                          "GET /api/practice/{number}/events 200",
                                          "GET /api/classes/{number}/events 200"};
  (void)state;
  json_object_foreach(json_object_get(api, "paths"), shape, methods) {
    json_object_foreach(methods, method, what) {
      json_object_foreach(json_object_get(what, "responses"), code, said) {
        char line[120];
        bool met = false;
        snprintf(line, sizeof line, "%s %s %s", method, shape, code);
        for (char *c = line; *c && *c != ' '; c++)
          *c = (char)(*c - ('a' - 'A'));
        for (size_t i = 0; i < seen_count; i++)
          met |= strcmp(seen[i], line) == 0;
        for (size_t i = 0; i < sizeof elsewhere / sizeof elsewhere[0]; i++)
          met |= strcmp(elsewhere[i], line) == 0;
        if (!met) fail_msg("%s is written and was never met", line);
      }
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_route_is_written_and_every_address_is_served),
      cmocka_unit_test(lists_and_status),
      cmocka_unit_test(without_an_instrument_nothing_is_live),
      cmocka_unit_test(what_is_live_is_as_written),
      cmocka_unit_test(what_was_moved_is_told),
      cmocka_unit_test(pairing_here_needs_lan),
      cmocka_unit_test(a_job_is_opened_and_worked),
      cmocka_unit_test(what_is_opened_is_what_was_written),
      cmocka_unit_test(sheet_and_readings_come_as_files),
      cmocka_unit_test(the_bench_answers),
      cmocka_unit_test(needles_move_in_time),
      cmocka_unit_test(every_key_of_a_job_is_told),
      cmocka_unit_test(what_changed_is_told),
      cmocka_unit_test(cards_that_are_wrong_are_told_so),
      cmocka_unit_test(slow_answers_hold_nobody_up),
      cmocka_unit_test(a_job_is_made_and_changed),
      cmocka_unit_test(a_reading_is_added_and_the_rest_stays),
      cmocka_unit_test(a_practice_car_is_asked_for),
      cmocka_unit_test(a_practice_car_is_worked_on),
      cmocka_unit_test(a_class_is_opened_and_closed),
      cmocka_unit_test(everything_written_was_met),
  };
  return cmocka_run_group_tests(tests, set_up, tear_down);
}
