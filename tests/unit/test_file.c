/* test_file.c - files in whole, files out whole or not at all, and a job with the cards it names.
 */
#include "store_case.h"

#include <dirent.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>

static char folder[64];
static lw_arena *arena;

static int set_up(void **state) {
  (void)state;
  snprintf(folder, sizeof folder, "%s", fresh_folder());
  arena = lw_arena_new(0);
  return arena ? 0 : -1;
}

static int tear_down(void **state) {
  (void)state;
  lw_arena_free(arena);
  remove_folder(folder);
  return 0;
}

/* Four buffers in turn, so that a test may name several files at once. */
static const char *in_folder(const char *name) {
  static char paths[4][300];
  static int turn;
  char *path = paths[turn++ % 4];
  snprintf(path, sizeof paths[0], "%s/%s", folder, name);
  return path;
}

static int entries(const char *path) {
  int count = 0;
  DIR *dir = opendir(path);
  assert_non_null(dir);
  while (readdir(dir))
    count++;
  closedir(dir);
  return count - 2;
}

static lw_status read_it(const char *path, size_t most, const char **text, size_t *length,
                         char *line, size_t size) {
  lw_error error = {0};
  lw_status status = lw_file_read(arena, path, most, text, length, &error);
  lw_error_line(&error, line, size);
  return status;
}

static void a_file_comes_back_byte_for_byte(void **state) {
  (void)state;
  char bytes[200000], line[600];
  for (size_t i = 0; i < sizeof bytes; i++)
    bytes[i] = (char)(i * 7 % 251);
  lw_error error = {0};
  must(lw_file_write(in_folder("a"), bytes, sizeof bytes, &error), &error);
  const char *text = NULL;
  size_t length = 0;
  assert_int_equal(read_it(in_folder("a"), sizeof bytes, &text, &length, line, sizeof line), LW_OK);
  assert_int_equal(length, sizeof bytes);
  assert_memory_equal(text, bytes, sizeof bytes);
  assert_int_equal(text[length], 0);
  must(lw_file_write(in_folder("empty"), "", 0, &error), &error);
  assert_int_equal(read_it(in_folder("empty"), 10, &text, &length, line, sizeof line), LW_OK);
  assert_int_equal(length, 0);
  assert_int_equal(entries(folder), 2);
}

static void one_byte_too_many_is_too_large(void **state) {
  (void)state;
  char line[600];
  const char *text = "untouched";
  size_t length = 77;
  spill(in_folder("b"), "0123456789", 10);
  assert_int_equal(read_it(in_folder("b"), 10, &text, &length, line, sizeof line), LW_OK);
  text = "untouched";
  length = 77;
  assert_int_equal(read_it(in_folder("b"), 9, &text, &length, line, sizeof line), LW_TOO_LARGE);
  HOLDS(line, "more than 9 bytes");
  assert_string_equal(text, "untouched");
  assert_int_equal(length, 77);
  /* no size to ask for: an endless device stops at the limit */
  assert_int_equal(read_it("/dev/zero", 100000, &text, &length, line, sizeof line), LW_TOO_LARGE);
}

static void what_cannot_be_read_says_so(void **state) {
  (void)state;
  char line[600];
  const char *text = NULL;
  size_t length = 0;
  assert_int_equal(read_it(in_folder("no"), 9, &text, &length, line, sizeof line), LW_NOT_FOUND);
  HOLDS(line, "/no: it cannot be opened: No such file");
  assert_int_equal(read_it(folder, 9, &text, &length, line, sizeof line), LW_IO);
  HOLDS(line, "this is a folder");
  lw_arena *small = lw_arena_new(1000);
  lw_error error = {0};
  char *big = calloc(1, 5000);
  spill(in_folder("big"), big, 5000);
  free(big);
  assert_int_equal(lw_file_read(small, in_folder("big"), 9000, &text, &length, &error),
                   LW_NO_MEMORY);
  lw_arena_free(small);
}

static void standard_input_is_read_through_a_dash(void **state) {
  (void)state;
  int ends[2];
  assert_int_equal(pipe(ends), 0);
  int held = dup(STDIN_FILENO);
  assert_int_equal(write(ends[1], "a reading", 9), 9);
  close(ends[1]);
  dup2(ends[0], STDIN_FILENO);
  close(ends[0]);
  const char *text = NULL;
  size_t length = 0;
  char line[600];
  lw_status status = read_it("-", 100, &text, &length, line, sizeof line);
  dup2(held, STDIN_FILENO);
  close(held);
  assert_int_equal(status, LW_OK);
  assert_string_equal(text, "a reading");
}

static void writing_keeps_mode_and_follows_links(void **state) {
  (void)state;
  lw_error error = {0};
  spill(in_folder("real"), "old", 3);
  assert_int_equal(chmod(in_folder("real"), 0640), 0);
  assert_int_equal(symlink("real", in_folder("link")), 0);
  must(lw_file_write(in_folder("link"), "new", 3, &error), &error);
  struct stat info;
  assert_int_equal(lstat(in_folder("link"), &info), 0);
  assert_true(S_ISLNK(info.st_mode));
  assert_int_equal(stat(in_folder("real"), &info), 0);
  assert_int_equal(info.st_mode & 0777, 0640);
  char *bytes = slurp(in_folder("real"), NULL);
  assert_string_equal(bytes, "new");
  free(bytes);
  mode_t mask = umask(027);
  must(lw_file_write(in_folder("fresh"), "x", 1, &error), &error);
  umask(mask);
  assert_int_equal(stat(in_folder("fresh"), &info), 0);
  assert_int_equal(info.st_mode & 0777, 0640);
}

static void a_pipe_or_device_is_written_straight(void **state) {
  (void)state;
  lw_error error = {0};
  must(lw_file_write("/dev/null", "gone", 4, &error), &error);
  struct stat info;
  assert_int_equal(stat("/dev/null", &info), 0);
  assert_true(S_ISCHR(info.st_mode));
  assert_int_equal(mkfifo(in_folder("fifo"), 0600), 0);
  int reader = open(in_folder("fifo"), O_RDONLY | O_NONBLOCK);
  must(lw_file_write(in_folder("fifo"), "hello", 5, &error), &error);
  char got[8] = {0};
  assert_int_equal(read(reader, got, sizeof got), 5);
  close(reader);
  assert_int_equal(stat(in_folder("fifo"), &info), 0);
  assert_true(S_ISFIFO(info.st_mode));
}

static void what_cannot_be_written_leaves_nothing(void **state) {
  (void)state;
  lw_error error = {0};
  assert_int_equal(lw_file_write(folder, "x", 1, &error), LW_IO);
  HOLDS(error.text, "this is a folder");
  assert_int_equal(lw_file_write(in_folder("no/where"), "x", 1, &error), LW_IO);
  HOLDS(error.text, "No such file or directory");
  assert_int_equal(lw_file_write("", "x", 1, &error), LW_IO);
  assert_int_equal(lw_file_write("/dev/full", "x", 1, &error), LW_IO);
  HOLDS(error.text, "No space left");
  assert_int_equal(entries(folder), 0);
}

/* In a child that may write 4 KiB to a file: the old file must stay, and no piece of the new. */
static void a_full_disk_keeps_the_old_file(void **state) {
  (void)state;
  spill(in_folder("sheet"), "the old one", 11);
  pid_t child = fork();
  if (child == 0) {
    signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &(struct rlimit){4096, 4096});
    static char bytes[100000];
    lw_error error = {0};
    lw_status status = lw_file_write(in_folder("sheet"), bytes, sizeof bytes, &error);
    _exit(status == LW_IO && strstr(error.text, "what was there before is unchanged") ? 0 : 1);
  }
  int result = -1;
  assert_int_equal(waitpid(child, &result, 0), child);
  assert_int_equal(result, 0);
  char *bytes = slurp(in_folder("sheet"), NULL);
  assert_string_equal(bytes, "the old one");
  free(bytes);
  assert_int_equal(entries(folder), 1);
}

static void an_abandoned_draft_leaves_nothing(void **state) {
  (void)state;
  spill(in_folder("e"), "old", 3);
  lw_draft draft;
  lw_error error = {0};
  must(lw_draft_begin(in_folder("e"), &draft, &error), &error);
  fputs("half", draft.stream);
  assert_int_equal(entries(folder), 2);
  lw_draft_abandon(&draft);
  assert_int_equal(entries(folder), 1);
  char *bytes = slurp(in_folder("e"), NULL);
  assert_string_equal(bytes, "old");
  free(bytes);
}

/* Killed at any moment, a writer leaves the old file or the new one, each whole. */
static void a_killed_writer_leaves_a_whole_file(void **state) {
  (void)state;
  enum { BYTES = 300000, ROUNDS = 15 };
  char *bytes = malloc(BYTES);
  memset(bytes, 'A', BYTES);
  spill(in_folder("k"), bytes, BYTES);
  for (int round = 0; round < ROUNDS; round++) {
    pid_t child = fork();
    if (child == 0) {
      for (char letter = 'B';; letter = (char)(letter == 'Z' ? 'A' : letter + 1)) {
        memset(bytes, letter, BYTES);
        if (lw_file_write(in_folder("k"), bytes, BYTES, NULL) != LW_OK) _exit(1);
      }
    }
    nanosleep(&(struct timespec){0, 3000000L + round * 1700000L}, NULL);
    kill(child, SIGKILL);
    int result = 0;
    waitpid(child, &result, 0);
    assert_true(WIFSIGNALED(result));
    size_t length = 0;
    char *got = slurp(in_folder("k"), &length);
    assert_int_equal(length, BYTES);
    for (size_t i = 1; i < length; i++) {
      if (got[i] != got[0]) fail_msg("round %d: two writers' bytes in one file at %zu", round, i);
    }
    free(got);
  }
  /* the last one's leftover goes with the next write; the earlier ones' went in between */
  assert_int_equal(lw_file_write(in_folder("k"), bytes, BYTES, NULL), LW_OK);
  assert_int_equal(entries(folder), 1);
  free(bytes);
}

static pid_t gone_pid(void) {
  int result = 0;
  pid_t child = fork();
  if (child == 0) _exit(0);
  waitpid(child, &result, 0);
  return child;
}

static void only_leftovers_of_the_gone_are_removed(void **state) {
  char path[8][160];
  long gone = gone_pid(), here = (long)getpid();
  (void)state;
  const struct {
    const char *head;
    long pid;
    const char *tail;
    bool stays;
  } files[] = {{".leanward-", gone, "-0.new", false},
               {".leanward-", gone, "-17.new-journal", false},
               {".leanward-", here, "-0.new", true},
               {".leanward-", gone, "-0.newer", true},
               {".leanward-", gone, "-0", true},
               {"leanward-", gone, "-0.new", true},
               {".leanward--", gone, "-0.new", true},
               {".leanward-", gone, "-1.new", true}}; /* the last is held */
  for (size_t i = 0; i < 8; i++) {
    snprintf(path[i], sizeof path[i], "%s/%s%ld%s", folder, files[i].head, files[i].pid,
             files[i].tail);
    spill(path[i], "x", 1);
  }
  int held = open(path[7], O_RDWR | O_CLOEXEC);
  struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
  assert_int_equal(fcntl(held, F_SETLK, &whole), 0);
  pid_t child = fork(); /* a lock of this process would not stand in its own way */
  if (child == 0) _exit(lw_file_write(in_folder("k"), "y", 1, NULL) == LW_OK ? 0 : 1);
  int result = 0;
  waitpid(child, &result, 0);
  assert_int_equal(result, 0);
  for (size_t i = 0; i < 8; i++) {
    if ((access(path[i], F_OK) == 0) != files[i].stays) fail_msg("%s", path[i]);
  }
  close(held);
}

/* Runs in a child; what it says comes back as its exit status. */
static lw_status lock_elsewhere(const char *path, char *line, size_t size) {
  int out[2], result = 0;
  assert_int_equal(pipe(out), 0);
  pid_t child = fork();
  if (child == 0) {
    lw_error error = {0};
    lw_file_lock lock;
    char text[600];
    lw_status status = lw_file_lock_take(path, "second", &lock, &error);
    lw_error_line(&error, text, sizeof text);
    if (write(out[1], text, strlen(text)) < 0) _exit(99);
    lw_file_lock_release(&lock);
    _exit((int)status);
  }
  close(out[1]);
  ssize_t got = read(out[0], line, size - 1);
  line[got > 0 ? got : 0] = '\0';
  close(out[0]);
  waitpid(child, &result, 0);
  return (lw_status)WEXITSTATUS(result);
}

static void one_program_at_a_time_holds_a_file(void **state) {
  char line[600], words[80];
  lw_error error = {0};
  lw_file_lock lock, again;
  (void)state;
  spill(in_folder("j.yaml"), "job: x\n", 7);
  assert_int_equal(symlink("j.yaml", in_folder("link")), 0);
  must(lw_file_lock_take(in_folder("j.yaml"), "first", &lock, &error), &error);
  snprintf(words, sizeof words, "(first, process %ld)", (long)getpid());
  assert_int_equal(lock_elsewhere(in_folder("j.yaml"), line, sizeof line), LW_IO);
  HOLDS(line, words);
  HOLDS(line, "end it, or work on a copy");
  assert_int_equal(lock_elsewhere(in_folder("link"), line, sizeof line), LW_IO); /* the same file */
  assert_int_equal(lw_file_lock_take(in_folder("j.yaml"), "x", &again, &error), LW_IO);
  lw_file_lock_release(&again);
  /* replaced by a rename it is still held */
  assert_int_equal(lw_file_write(in_folder("j.yaml"), "job: y\n", 7, NULL), LW_OK);
  assert_int_equal(lock_elsewhere(in_folder("j.yaml"), line, sizeof line), LW_IO);
  lw_file_lock_release(&lock);
  lw_file_lock_release(&lock);
  assert_int_equal(lock_elsewhere(in_folder("j.yaml"), line, sizeof line), LW_OK);
  assert_int_equal(access(in_folder(".j.yaml.lock"), F_OK), -1);
  /* a killed holder holds nothing */
  pid_t child = fork();
  if (child == 0) {
    lw_status status = lw_file_lock_take(in_folder("j.yaml"), "killed", &lock, NULL);
    kill(getpid(), status == LW_OK ? SIGKILL : SIGTERM);
  }
  int result = 0;
  waitpid(child, &result, 0);
  assert_int_equal(WTERMSIG(result), SIGKILL);
  assert_int_equal(access(in_folder(".j.yaml.lock"), F_OK), 0);
  assert_int_equal(lock_elsewhere(in_folder("j.yaml"), line, sizeof line), LW_OK);
  /* what needs none */
  must(lw_file_lock_take("-", "x", &lock, &error), &error);
  must(lw_file_lock_take("/dev/null", "x", &lock, &error), &error);
  must(lw_file_lock_take(in_folder("nothing"), "x", &lock, &error), &error);
}

/* Many at once: never two, and whoever is refused is told. */
static void a_race_for_a_lock_has_one_winner(void **state) {
  enum { RACERS = 8, ROUNDS = 200 };
  (void)state;
  spill(in_folder("j.yaml"), "job: x\n", 7);
  pid_t racers[RACERS];
  for (int i = 0; i < RACERS; i++) {
    racers[i] = fork();
    if (racers[i] != 0) continue;
    int won = 0;
    for (int k = 0; k < ROUNDS; k++) {
      lw_file_lock lock;
      lw_error error = {0};
      if (lw_file_lock_take(in_folder("j.yaml"), "racer", &lock, &error) != LW_OK) {
        if (!strstr(error.text, "another program")) _exit(3);
        continue;
      }
      int alone = open(in_folder("alone"), O_CREAT | O_EXCL | O_CLOEXEC, 0600);
      if (alone < 0) _exit(1);
      close(alone);
      unlink(in_folder("alone"));
      lw_file_lock_release(&lock);
      won++;
    }
    _exit(won ? 0 : 2);
  }
  for (int i = 0; i < RACERS; i++) {
    int result = 0;
    waitpid(racers[i], &result, 0);
    assert_true(WIFEXITED(result));
    if (WEXITSTATUS(result) != 2) assert_int_equal(WEXITSTATUS(result), 0);
  }
}

static void paths_are_relative_to_the_file_that_names_them(void **state) {
  (void)state;
  assert_string_equal(lw_file_beside(arena, "jobs/a.yaml", "../cards/c.yaml"),
                      "jobs/../cards/c.yaml");
  assert_string_equal(lw_file_beside(arena, "a.yaml", "c.yaml"), "c.yaml");
  assert_string_equal(lw_file_beside(arena, "/a.yaml", "c.yaml"), "/c.yaml");
  assert_string_equal(lw_file_beside(arena, "jobs/a.yaml", "/cards/c.yaml"), "/cards/c.yaml");
  assert_string_equal(lw_file_beside(arena, "-", "cards/c.yaml"), "cards/c.yaml");
}

static lw_status read_case(const char *path, lw_case *out, char *line, size_t size) {
  lw_units *units = NULL;
  lw_error error = {0};
  must(lw_units_open(&units, &error), &error);
  lw_status status = lw_case_read(arena, units, path, out, &error);
  lw_error_line(&error, line, size);
  lw_units_close(units);
  return status;
}

static void a_case_is_the_job_and_its_cards(void **state) {
  (void)state;
  char line[1000], path[500];
  lw_case given = {0};
  snprintf(path, sizeof path, "%s/jobs/demo.yaml", getenv("SOURCE_ROOT"));
  lw_status status = read_case(path, &given, line, sizeof line);
  if (status != LW_OK) fail_msg("%s", line);
  assert_non_null(given.job);
  assert_non_null(given.card);
  assert_non_null(given.fitted);
  size_t length = 0;
  char *bytes = slurp(path, &length);
  assert_int_equal(given.job_length, length);
  assert_memory_equal(given.job_text, bytes, length);
  free(bytes);
  HOLDS(given.card->file, "jobs/../cards/");
}

static void a_case_without_cards_has_none(void **state) {
  (void)state;
  char line[1000];
  lw_case given;
  memset(&given, 0xAA, sizeof given);
  spill(in_folder("j.yaml"), "job: 1\n", 7);
  assert_int_equal(read_case(in_folder("j.yaml"), &given, line, sizeof line), LW_OK);
  assert_null(given.card);
  assert_null(given.card_text);
  assert_null(given.fitted);
}

static void a_card_that_is_not_there_is_an_error_of_the_job(void **state) {
  (void)state;
  char line[1000];
  lw_case given = {0};
  const char text[] = "job: 1\ncard: lost.yaml\n";
  spill(in_folder("j.yaml"), text, sizeof text - 1);
  assert_int_equal(read_case(in_folder("j.yaml"), &given, line, sizeof line), LW_NOT_FOUND);
  HOLDS(line, "/j.yaml: card: ");
  HOLDS(line, "lost.yaml");
  HOLDS(line, "No such file");
  assert_null(given.job);
}

static void a_wrong_card_is_named_with_its_line(void **state) {
  (void)state;
  char line[1000];
  lw_case given = {0};
  const char job[] = "job: 1\nfitted card: c.yaml\n", card[] = "unit: CW\nyeer: 1970\n";
  spill(in_folder("j.yaml"), job, sizeof job - 1);
  spill(in_folder("c.yaml"), card, sizeof card - 1);
  assert_int_equal(read_case(in_folder("j.yaml"), &given, line, sizeof line), LW_BAD_INPUT);
  HOLDS(line, "/c.yaml:2: ");
  HOLDS(line, "year");
}

static void a_job_in_another_encoding_is_refused(void **state) {
  (void)state;
  char line[1000];
  lw_case given = {0};
  const char latin[] = "job: 1\ncustomer: M\xFCller\n";
  spill(in_folder("l.yaml"), latin, sizeof latin - 1);
  assert_int_equal(read_case(in_folder("l.yaml"), &given, line, sizeof line), LW_BAD_INPUT);
  HOLDS(line, "/l.yaml:2: ");
  HOLDS(line, "UTF-8");
  const char wide[] = "\xFF\xFEj\0o\0b\0:\0 \0"
                      "1\0\n\0";
  spill(in_folder("w.yaml"), wide, sizeof wide - 1);
  assert_int_equal(read_case(in_folder("w.yaml"), &given, line, sizeof line), LW_BAD_INPUT);
  HOLDS(line, "UTF-8");
}

#define IN_FOLDER(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void) {
  const struct CMUnitTest tests[] = {
      IN_FOLDER(a_file_comes_back_byte_for_byte),
      IN_FOLDER(one_byte_too_many_is_too_large),
      IN_FOLDER(what_cannot_be_read_says_so),
      IN_FOLDER(standard_input_is_read_through_a_dash),
      IN_FOLDER(writing_keeps_mode_and_follows_links),
      IN_FOLDER(a_pipe_or_device_is_written_straight),
      IN_FOLDER(what_cannot_be_written_leaves_nothing),
      IN_FOLDER(a_full_disk_keeps_the_old_file),
      IN_FOLDER(an_abandoned_draft_leaves_nothing),
      IN_FOLDER(a_killed_writer_leaves_a_whole_file),
      IN_FOLDER(only_leftovers_of_the_gone_are_removed),
      IN_FOLDER(one_program_at_a_time_holds_a_file),
      IN_FOLDER(a_race_for_a_lock_has_one_winner),
      IN_FOLDER(paths_are_relative_to_the_file_that_names_them),
      IN_FOLDER(a_case_is_the_job_and_its_cards),
      IN_FOLDER(a_case_without_cards_has_none),
      IN_FOLDER(a_card_that_is_not_there_is_an_error_of_the_job),
      IN_FOLDER(a_wrong_card_is_named_with_its_line),
      IN_FOLDER(a_job_in_another_encoding_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
