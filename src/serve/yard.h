/* yard.h - practice cars in the server: who has one, the clock that runs them, classes, needles.
** Private to this floor.
**
** Two threads tick the cars ten times a second, each every other one; hands make the moves. Three
** locks, taken in this order and never the other way: a stand's own (its exercise), the yard's (who
** is there), a stand's for looking (its newest needles and their streams: so short that nobody who
** is put aside while holding it stops the clocks). The bases' stands alone. What is hidden leaves
** only through a review, which wants the pass of its stand and an exercise that is over, or through
** the pass of its class.
**
**   yard.c           stands, classes, the clock         needles.c   streams of needles
**   api_practice.c   the answers                        practice_json.c   their form
*/
#ifndef LW_YARD_H
#define LW_YARD_H

#include "serve.h"

#include "leanward/practice.h"

enum {
  YARD_MOST = 220, /* cars */
  CLASSES_MOST = 16,
  BASES_MOST = 24, /* cards kept ready */
  YARD_STREAMS_MOST = 260,
  NEEDLES_TEXT = 512,
  PASS_TEXT = 33,
  PERSON_TEXT = 41,
  KEYS_KEPT = 16,
  CLOCKS = 2 /* threads that tick */
};

/* A card's sound car, shared by all who practise on it. */
typedef struct base {
  char card[120], digest[DIGEST_TEXT];
  lw_arena *arena;
  lw_test_car *car;
  int holders;
} base;

/* A change that was made: sent again it is not made again. */
typedef struct kept_key {
  char key[LW_CHANGE_KEY_MOST + 1], digest[DIGEST_TEXT];
} kept_key;

typedef struct needle_stream needle_stream;

/* How far a learner is, for the board. */
typedef struct progress {
  lw_practice_state where;
  bool found;
  double minutes;
  size_t moves;
  int wrong;
} progress;

typedef struct stand {
  /* for good */
  int64_t number, group, who; /* group: its class, 0: none */
  char pass[PASS_TEXT], name[PERSON_TEXT];
  base *base;
  kept_key made;
  /* the yard's lock */
  int holders; /* freed when nobody holds it */
  double used; /* s, when it was asked for last */
  progress progress;
  /* for looking */
  pthread_mutex_t looking;
  char needles[NEEDLES_TEXT];
  uint64_t beat; /* counts the needles */
  needle_stream *streams;
  bool ended;
  /* its own lock */
  pthread_mutex_t lock;
  lw_practice *practice;
  double ticked; /* s */
  kept_key keys[KEYS_KEPT];
  size_t key_count;
  char *review; /* JSON, once made */
} stand;

typedef struct group {
  int64_t number; /* 0: free */
  char pass[PASS_TEXT], title[PERSON_TEXT];
  base *base;
  lw_fault fault;
  uint64_t seed;
  bool open;
  kept_key made;
} group;

/* One thread that ticks: every CLOCKS-th stand, by its number. */
typedef struct ticker {
  yard *yard;
  int which;
  pthread_t thread;
  bool running;
  uint64_t ticks, missed; /* the yard's lock */
  double worst;           /* s the longest round took */
} ticker;

struct yard {
  lw_server *server;
  ticker clocks[CLOCKS];
  pthread_mutex_t lock, bases_lock, making; /* making: one new car or class at a time */
  pthread_cond_t wake;
  bool stopping;
  stand *stands[YARD_MOST];
  size_t count;
  group groups[CLASSES_MOST];
  int64_t last_stand, last_group;
  size_t stream_count;
  base bases[BASES_MOST];
};

/* A text of random letters into text, of PASS_TEXT; false: there is no chance to be had. */
bool yard_pass(char *text);
uint64_t yard_seed(void);

/* The base of a card as GET /api/cards names it; to be given back. */
lw_status yard_base(hand *h, const char *card, base **out, lw_error *error);
void yard_base_back(yard *y, base *b);

/* Put a stand in; NULL: the yard is full. It is held for the caller. */
stand *yard_add(yard *y, const stand *made);
/* Held for the caller; NULL: none of this number. */
stand *yard_take(yard *y, int64_t number);
/* The stand that was made with this key, held; NULL: none. */
stand *yard_made_with(yard *y, const char *key);
void yard_give_back(yard *y, stand *s);
/* The learner's device has a car of this class that is not over. */
bool yard_has(yard *y, int64_t group, int64_t who);
/* After a move, with the stand's lock held: for the board, and who looks at it. */
void yard_told(yard *y, stand *s);

/* Under the yard's lock. */
group *yard_group(yard *y, int64_t number);

/* needles.c; each takes the lock for looking, but needles_text */
void needles_put(stand *s, const char text[NEEDLES_TEXT]);
void needles_end_all(stand *s);
bool needles_watched(stand *s);
bool needles_ended(stand *s);
void needles_end(stand *s, int64_t device); /* the streams of this device */
void needles_text(const lw_practice *p, char text[NEEDLES_TEXT]);

/* api_practice.c: of a body, shared with classes. NULL or false: r has the refusal. */
json_t *practice_body(request *r);
bool practice_keys(request *r, const json_t *body, const char *known);         /* " card cause " */
bool practice_cause_asked(request *r, const json_t *body, lw_cause_id *cause); /* LW_CAUSES: any */
/* "" when it is not given; NULL: it is no text, or has most letters or more. */
const char *practice_text(const json_t *body, const char *key, size_t most);

/* practice_json.c */
json_t *practice_json(const stand *s);
json_t *practice_review_json(const lw_review *review);

#endif
