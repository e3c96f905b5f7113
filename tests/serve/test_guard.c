/* test_guard.c - who is kept out, and what cannot be done to the server: other sites, other names,
** large and broken requests, wrong types, odd paths, used tokens, devices that were turned out.
*/
#include "serve_kit.h"

static served kit;
static int64_t job;

static int set_up(void **state) {
  (void)state;
  server_start(&kit, NULL);
  job = put_in(&kit, "demo");
  return 0;
}

static int tear_down(void **state) {
  (void)state;
  assert_int_equal(server_end(&kit, SIGTERM), 0);
  remove_folder(kit.folder);
  return 0;
}

static const char *host_line(const char *host, const char *more) {
  static char line[300];
  snprintf(line, sizeof line, "Host: %s\r\n%s", host, more);
  return line;
}

static void every_answer_has_its_heads(void **state) {
  static const char *const paths[] = {"/", "/api/jobs", "/api/nothing", "/nothing.js"};
  (void)state;
  for (size_t i = 0; i < 4; i++) {
    answer a = ask(&kit, "GET", paths[i], NULL, NULL);
    assert_non_null(strstr(head_of(&a, "Content-Security-Policy"), "default-src 'none'"));
    assert_non_null(strstr(head_of(&a, "Content-Security-Policy"), "frame-ancestors 'none'"));
    assert_null(strstr(head_of(&a, "Content-Security-Policy"), "unsafe"));
    assert_string_equal(head_of(&a, "X-Content-Type-Options"), "nosniff");
    assert_string_equal(head_of(&a, "Referrer-Policy"), "no-referrer");
    assert_string_equal(head_of(&a, "Cross-Origin-Resource-Policy"), "same-origin");
    assert_string_equal(head_of(&a, "Access-Control-Allow-Origin"), "");
    answer_free(&a);
  }
}

static void another_name_is_refused(void **state) {
  char right[64], wrong[64];
  (void)state;
  snprintf(right, sizeof right, "localhost:%d", kit.port);
  snprintf(wrong, sizeof wrong, "rebound.example:%d", kit.port);
  gives(&kit, 200, "GET", "/api/jobs", host_line(right, ""), NULL);
  gives(&kit, 421, "GET", "/api/jobs", host_line(wrong, ""), NULL);
  gives(&kit, 421, "GET", "/", host_line(wrong, ""), NULL);
  gives(&kit, 421, "GET", "/api/jobs", host_line("127.0.0.1", ""), NULL);
  gives(&kit, 421, "GET", "/api/jobs", host_line("127.0.0.1:1", ""), NULL);
}

static void another_site_is_refused(void **state) {
  char own[200];
  (void)state;
  static const char body[] = "{\"job\": \"CW-66\"}";
  snprintf(own, sizeof own, KEY_HEAD("site-own-1") "Origin: http://127.0.0.1:%d\r\n", kit.port);
  gives(&kit, 403, "POST", "/api/jobs", KEY_HEAD("site-1-1") "Origin: http://evil.example\r\n",
        body);
  gives(&kit, 403, "POST", "/api/jobs", KEY_HEAD("site-2-2") "Origin: null\r\n", body);
  gives(&kit, 403, "POST", "/api/jobs", KEY_HEAD("site-3-3") "Sec-Fetch-Site: cross-site\r\n",
        body);
  gives(&kit, 403, "POST", "/api/jobs", KEY_HEAD("site-4-4") "Sec-Fetch-Site: same-site\r\n", body);
  gives(&kit, 403, "GET", "/api/jobs", "Sec-Fetch-Site: cross-site\r\n", NULL);
  gives(&kit, 200, "GET", "/", "Sec-Fetch-Site: cross-site\r\n", NULL); /* a link */
  gives(&kit, 201, "POST", "/api/jobs", own, body);
}

/* What a plain form of an old browser can send. */
static void a_form_is_refused(void **state) {
  static const char *const types[] = {"text/plain", "application/x-www-form-urlencoded",
                                      "multipart/form-data; boundary=x", "application/jsonp"};
  (void)state;
  for (size_t i = 0; i < 4; i++) {
    char heads[200];
    snprintf(heads, sizeof heads, "Content-Type: %s\r\nIdempotency-Key: form-key-1\r\n", types[i]);
    gives(&kit, 415, "POST", "/api/jobs", heads, "{\"job\": \"CW-67\"}");
  }
  gives(&kit, 415, "POST", "/api/jobs", "Idempotency-Key: form-key-1\r\n", "{\"job\": \"CW-67\"}");
  gives(&kit, 415, "POST", "/api/pair", "Content-Type: text/plain\r\n", "{}");
}

static void wrong_methods_are_refused(void **state) {
  (void)state;
  answer a = must_ask(&kit, 405, "DELETE", "/api/jobs", NULL, NULL);
  assert_string_equal(head_of(&a, "Allow"), "GET, POST");
  answer_free(&a);
  gives(&kit, 405, "POST", "/", JSON_HEAD, "{}");
  gives(&kit, 405, "OPTIONS", "/api/jobs", NULL, NULL);
  gives(&kit, 405, "TRACE", "/api/jobs", NULL, NULL);
  a = must_ask(&kit, 200, "HEAD", "/api/jobs", NULL, NULL);
  assert_int_equal(a.length, 0);
  answer_free(&a);
}

static void odd_paths_lead_nowhere(void **state) {
  static const char *const paths[] = {"/../../etc/passwd",
                                      "/..%2f..%2fetc/passwd",
                                      "/%2e%2e/%2e%2e/etc/passwd",
                                      "//etc/passwd",
                                      "/api/jobs/01",
                                      "/api/jobs/1x",
                                      "/api/jobs/-1",
                                      "/api/jobs/0",
                                      "/api/jobs/99999999999999999999",
                                      "/api/jobs//work",
                                      "/api//jobs",
                                      "/api/jobs/1%00/work",
                                      "/index.html%00",
                                      "/api/jobs/1/work/",
                                      "/.git/config",
                                      "/api/jobs/%31%2fwork%2f..",
                                      "/index.html/",
                                      "/INDEX.HTML"};
  (void)state;
  for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
    answer a = ask(&kit, "GET", paths[i], NULL, NULL);
    bool refused = a.status == 404 || a.status == 400;
    bool found = a.body && strstr(a.body, "root:");
    if (!refused || found) fail_msg("%s: %d %.200s", paths[i], a.status, a.body ? a.body : "");
    answer_free(&a);
  }
}

static void a_large_body_is_refused(void **state) {
  size_t most = 1024 * 1024;
  char *body = malloc(most + 2);
  (void)state;
  memset(body, ' ', most + 1);
  body[most + 1] = '\0';
  answer a =
      ask_at("127.0.0.1", kit.port, "POST", "/api/jobs", KEY_HEAD("large-1-1"), body, most + 1);
  if (a.status) assert_int_equal(a.status, 413);
  answer_free(&a);
  /* exactly as much is taken, and is no JSON */
  a = ask_at("127.0.0.1", kit.port, "POST", "/api/jobs", KEY_HEAD("large-2-2"), body, most);
  assert_int_equal(a.status, 422);
  answer_free(&a);
  free(body);
  /* one that does not say how long it is */
  char head[400], chunk[70000];
  int fd = connect_to("127.0.0.1", kit.port);
  int used =
      snprintf(head, sizeof head,
               "POST /api/jobs HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n" KEY_HEAD(
                   "large-3-3") "Transfer-Encoding: chunked\r\n\r\n",
               kit.port);
  send_all(fd, head, (size_t)used);
  used = snprintf(chunk, sizeof chunk, "10000\r\n");
  memset(chunk + used, ' ', 0x10000);
  memcpy(chunk + used + 0x10000, "\r\n", 2);
  for (int i = 0; i < 17; i++)
    send_all(fd, chunk, (size_t)used + 0x10000 + 2);
  send_all(fd, "0\r\n\r\n", 5);
  a = read_answer(fd);
  close(fd);
  assert_int_equal(a.status, 413);
  answer_free(&a);
  gives(&kit, 200, "GET", "/api/jobs", NULL, NULL);
}

static void broken_requests_do_no_harm(void **state) {
  static const char *const bytes[] = {
      "\r\n\r\n",
      "GET\r\n\r\n",
      "GET /api/jobs\r\n\r\n",
      "GET /api/jobs HTTP/9.9\r\n\r\n",
      "\x16\x03\x01\x02\x01\x01\xFC\x03\x03",
      "GET /api/jobs HTTP/1.1\r\n\r\n",
      "POST /api/jobs HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n",
      "POST /api/jobs HTTP/1.1\r\nHost: x\r\nContent-Length: 99999999999999999999999\r\n\r\n"};
  (void)state;
  for (size_t i = 0; i < sizeof bytes / sizeof bytes[0]; i++) {
    int fd = connect_to("127.0.0.1", kit.port);
    send_all(fd, bytes[i], strlen(bytes[i]));
    shutdown(fd, SHUT_WR);
    answer a = read_answer(fd);
    if (a.status && a.status < 400) fail_msg("broken request %zu: %d", i, a.status);
    answer_free(&a);
    close(fd);
  }
  /* half a head, half a body, and gone */
  for (int i = 0; i < 40; i++) {
    int fd = connect_to("127.0.0.1", kit.port);
    char head[400];
    int used = snprintf(head, sizeof head,
                        "POST /api/jobs HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n" KEY_HEAD(
                            "half-1-1") "Content-Length: 500\r\n\r\n{\"job\": \"CW-half\"",
                        kit.port);
    send_all(fd, head, (size_t)(i % 2 ? used : used / 2));
    close(fd);
  }
  answer a = must_ask(&kit, 200, "GET", "/api/jobs?search=CW-half", NULL, NULL);
  assert_string_equal(a.body, "{\"jobs\":[]}");
  answer_free(&a);
  /* a head that does not end */
  char *long_head = malloc(200000);
  memset(long_head, 'a', 199999);
  memcpy(long_head, "GET / HTTP/1.1\r\nX: ", 19);
  int fd = connect_to("127.0.0.1", kit.port);
  send_all(fd, long_head, 199999);
  a = read_answer(fd);
  assert_true(a.status == 0 || a.status >= 400);
  answer_free(&a);
  close(fd);
  free(long_head);
  gives(&kit, 200, "GET", "/api/jobs", NULL, NULL);
}

static void broken_json_is_refused(void **state) {
  static const char *const bodies[] = {"",
                                       "{",
                                       "nonsense",
                                       "[]",
                                       "3",
                                       "{\"job\": \"a\", \"job\": \"b\"}",
                                       "{\"job\": {\"a\": 1}}",
                                       "{\"job\": \"\\u0000\"}",
                                       "{\"job\": \"x\", \"\\u0000\": \"y\"}"};
  (void)state;
  for (size_t i = 0; i < sizeof bodies / sizeof bodies[0]; i++)
    gives(&kit, 422, "POST", "/api/jobs", KEY_HEAD("broken-json-1"), bodies[i]);
  char *deep = malloc(200001);
  memset(deep, '[', 200000);
  deep[200000] = '\0';
  gives(&kit, 422, "POST", "/api/jobs", KEY_HEAD("broken-json-2"), deep);
  free(deep);
  gives(&kit, 422, "POST", "/api/jobs",
        "Content-Type: application/yaml\r\nIdempotency-Key: broken-yaml\r\n", "job: [\xFF\xFE");
}

static void too_many_requests_are_slowed(void **state) {
  int slowed = 0;
  (void)state;
  for (int i = 0; i < 400 && !slowed; i++) {
    answer a = ask(&kit, "GET", "/api/status", NULL, NULL);
    if (a.status == 429) {
      slowed++;
      assert_string_equal(head_of(&a, "Retry-After"), "1");
    }
    answer_free(&a);
  }
  assert_true(slowed > 0);
  struct timespec wait = {1, 500000000};
  nanosleep(&wait, NULL);
  gives(&kit, 200, "GET", "/api/status", NULL, NULL);
}

static void assets_are_packed_and_kept(void **state) {
  (void)state;
  answer page = must_ask(&kit, 200, "GET", "/", NULL, NULL);
  assert_non_null(strstr(page.body, "<!doctype html>"));
  assert_string_equal(head_of(&page, "Cache-Control"), "no-cache");
  char tag[100];
  snprintf(tag, sizeof tag, "If-None-Match: %s\r\n", head_of(&page, "ETag"));
  answer same = must_ask(&kit, 304, "GET", "/", tag, NULL);
  assert_int_equal(same.length, 0);
  answer_free(&same);
  answer job_page = must_ask(&kit, 200, "GET", "/job/1", NULL, NULL);
  assert_string_equal(job_page.body, page.body);
  answer_free(&job_page);
  const char *script = strstr(page.body, "src=\"/");
  if (script) { /* built with npm */
    char path[100];
    snprintf(path, sizeof path, "%.*s", (int)strcspn(script + 5, "\""), script + 5);
    answer plain = must_ask(&kit, 200, "GET", path, NULL, NULL);
    answer packed = must_ask(&kit, 200, "GET", path, "Accept-Encoding: gzip, deflate\r\n", NULL);
    answer refused = must_ask(&kit, 200, "GET", path, "Accept-Encoding: gzip;q=0\r\n", NULL);
    assert_non_null(strstr(head_of(&plain, "Cache-Control"), "immutable"));
    assert_string_equal(head_of(&packed, "Content-Encoding"), "gzip");
    assert_string_equal(head_of(&refused, "Content-Encoding"), "");
    assert_true(packed.length < plain.length && refused.length == plain.length);
    answer_free(&plain);
    answer_free(&packed);
    answer_free(&refused);
  }
  answer_free(&page);
}

/* ---- beyond loopback ---- */

static int at_lan(const char *address, const served *s, const char *method, const char *path,
                  const char *heads, const char *body) {
  answer a = ask_at(address, s->port, method, path, heads, body, body ? strlen(body) : 0);
  int status = a.status;
  answer_free(&a);
  return status;
}

static void the_network_is_kept_out_without_lan(void **state) {
  char address[64];
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons((uint16_t)kit.port)};
  (void)state;
  if (!own_address(address, sizeof address)) skip();
  int fd = socket(AF_INET, SOCK_STREAM, 0);
  inet_pton(AF_INET, address, &at.sin_addr);
  assert_int_equal(connect(fd, (struct sockaddr *)&at, sizeof at), -1);
  close(fd);
}

static void a_device_is_paired_once_and_turned_out(void **state) {
  char address[64], token[20], body[100], cookie[200];
  served lan = {0};
  (void)state;
  if (!own_address(address, sizeof address)) skip();
  server_start(&lan, "--lan");
  token_of(&lan, token);
  snprintf(body, sizeof body, "{\"token\": \"%s\", \"name\": \"bay 3\"}", token);
  /* the page and the status are open; the data is not */
  assert_int_equal(at_lan(address, &lan, "GET", "/", NULL, NULL), 200);
  assert_int_equal(at_lan(address, &lan, "GET", "/api/status", NULL, NULL), 200);
  static const char *const closed[] = {"/api/jobs", "/api/jobs/1", "/api/jobs/1/events",
                                       "/api/devices", "/api/cards"};
  for (size_t i = 0; i < 5; i++)
    assert_int_equal(at_lan(address, &lan, "GET", closed[i], NULL, NULL), 401);
  assert_int_equal(at_lan(address, &lan, "POST", "/api/pairing", JSON_HEAD, "{}"), 401);
  assert_int_equal(at_lan(address, &lan, "GET", "/api/jobs", "Cookie: leanward_device=\r\n", NULL),
                   401);
  assert_int_equal(at_lan(address, &lan, "POST", "/api/pair", JSON_HEAD,
                          "{\"token\": \"AAAAAAAAAA\", \"name\": \"x\"}"),
                   403);
  answer a = ask_at(address, lan.port, "POST", "/api/pair", JSON_HEAD, body, strlen(body));
  assert_int_equal(a.status, 201);
  int64_t device = number_in(&a, "device");
  cookie_of(&a, cookie, sizeof cookie);
  answer_free(&a);
  assert_int_equal(at_lan(address, &lan, "GET", "/api/jobs", cookie, NULL), 200);
  /* the token again */
  assert_int_equal(at_lan(address, &lan, "POST", "/api/pair", JSON_HEAD, body), 403);
  /* another name for the host beyond loopback */
  char heads[300];
  snprintf(heads, sizeof heads, "Host: localhost:%d\r\n%s", lan.port, cookie);
  assert_int_equal(at_lan(address, &lan, "GET", "/api/jobs", heads, NULL), 421);
  /* a restart keeps it */
  assert_int_equal(server_end(&lan, SIGTERM), 0);
  server_start(&lan, "--lan");
  assert_int_equal(at_lan(address, &lan, "GET", "/api/jobs", cookie, NULL), 200);
  /* a token made by a paired device, then that device turned out */
  snprintf(heads, sizeof heads, JSON_HEAD "%s", cookie);
  a = ask_at(address, lan.port, "POST", "/api/pairing", heads, "{}", 2);
  assert_int_equal(a.status, 201);
  assert_non_null(strstr(a.body, "<svg"));
  answer_free(&a);
  char path[60];
  snprintf(path, sizeof path, "/api/devices/%lld", (long long)device);
  gives(&lan, 200, "DELETE", path, NULL, NULL);
  gives(&lan, 404, "DELETE", path, NULL, NULL);
  assert_int_equal(at_lan(address, &lan, "GET", "/api/jobs", cookie, NULL), 401);
  assert_int_equal(server_end(&lan, SIGTERM), 0);
  server_start(&lan, "--lan");
  assert_int_equal(at_lan(address, &lan, "GET", "/api/jobs", cookie, NULL), 401);
  assert_int_equal(server_end(&lan, SIGTERM), 0);
  remove_folder(lan.folder);
}

static void tokens_cannot_be_tried_out(void **state) {
  char address[64];
  served lan = {0};
  int refused = 0, slowed = 0;
  (void)state;
  if (!own_address(address, sizeof address)) skip();
  server_start(&lan, "--lan");
  for (int i = 0; i < 14; i++) {
    int status = at_lan(address, &lan, "POST", "/api/pair", JSON_HEAD,
                        "{\"token\": \"AAAAAAAAAA\", \"name\": \"x\"}");
    refused += status == 403;
    slowed += status == 429;
  }
  assert_int_equal(refused, 10);
  assert_int_equal(slowed, 4);
  assert_int_equal(server_end(&lan, SIGTERM), 0);
  remove_folder(lan.folder);
}

static void files_are_for_the_owner_only(void **state) {
  char path[200];
  struct stat info;
  (void)state;
  static const char *const endings[] = {"", "-wal", "-shm"};
  for (size_t i = 0; i < 3; i++) {
    snprintf(path, sizeof path, "%s%s", kit.store, endings[i]);
    if (stat(path, &info) != 0) continue;
    assert_int_equal(info.st_mode & 0777, 0600);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_answer_has_its_heads),
      cmocka_unit_test(another_name_is_refused),
      cmocka_unit_test(another_site_is_refused),
      cmocka_unit_test(a_form_is_refused),
      cmocka_unit_test(wrong_methods_are_refused),
      cmocka_unit_test(odd_paths_lead_nowhere),
      cmocka_unit_test(a_large_body_is_refused),
      cmocka_unit_test(broken_requests_do_no_harm),
      cmocka_unit_test(broken_json_is_refused),
      cmocka_unit_test(assets_are_packed_and_kept),
      cmocka_unit_test(files_are_for_the_owner_only),
      cmocka_unit_test(too_many_requests_are_slowed),
      cmocka_unit_test(the_network_is_kept_out_without_lan),
      cmocka_unit_test(a_device_is_paired_once_and_turned_out),
      cmocka_unit_test(tokens_cannot_be_tried_out),
  };
  return cmocka_run_group_tests(tests, set_up, tear_down);
}
