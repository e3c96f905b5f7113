/* leanward/doc.h - a document as a person writes it, and the tables that say what may stand in it.
**
** A YAML text becomes a tree in which every node knows its line; a table of fields binds the tree
** to a C struct. The same tables read files, print the key reference, and name the keys in errors,
** so the three cannot disagree.
**
** Units    tables give each quantity's dimension (units.h); structs hold SI.
** Errors   one line: file, line, field, what was expected, what to do. Unknown and repeated keys
**          are refused, with the nearest known key.
** Memory   tree, texts and lists live in the caller's arena.
** Threads  reentrant apart from lw_units.
** Limits   4 MiB of text, 40 levels, 50,000 nodes, 1,000 keys in a map; anchors, aliases and tags
**          are refused: nobody needs them on a spec card, and they are how a small file becomes a
**          large one.
** Source   YAML 1.1 as read by libyaml 0.2.5.
*/
#ifndef LEANWARD_DOC_H
#define LEANWARD_DOC_H

#include "leanward/base.h"
#include "leanward/units.h"

#define LW_DOC_MAX_BYTES ((size_t)4 * 1024 * 1024)
#define LW_DOC_MAX_DEPTH 40
#define LW_DOC_MAX_NODES 50000

typedef enum lw_node_kind { LW_NODE_SCALAR, LW_NODE_MAP, LW_NODE_LIST } lw_node_kind;

typedef struct lw_node lw_node;
struct lw_node {
  lw_node_kind kind;
  int line, column; /* from 1, of the node itself */
  const char *key;  /* in a map: its key; else NULL */
  int key_line;     /* line of the key */
  const char *text; /* scalar only */
  bool quoted;      /* scalar written in quotes */
  size_t count;     /* map, list: number of children */
  lw_node *first;   /* map, list: children in order */
  lw_node *next;    /* next sibling */
};

/* Parse length bytes of YAML named file (for errors) into a tree in arena. */
lw_status lw_doc_parse(lw_arena *arena, const char *file, const char *text, size_t length,
                       const lw_node **root, lw_error *error) LW_MUST_USE;

/* The child of a map by key, NULL when there is none. */
const lw_node *lw_doc_child(const lw_node *map, const char *key);

/* ---- What may stand in a document ---------------------------------------------------------- */

typedef enum lw_answer { LW_UNSAID, LW_NO, LW_YES } lw_answer;

/* Lists as they lie in structs. */
typedef struct lw_values {
  const double *x; /* SI */
  size_t count;
} lw_values;
typedef struct lw_texts {
  const char *const *text;
  size_t count;
} lw_texts;
typedef struct lw_list {
  const void *items; /* structs of the field's table, in order */
  size_t count;
} lw_list;
/* name: quantity pairs, as in `screws: {left: 2 turns, right: 1 3/4 turns}` */
typedef struct lw_named {
  const char *name;
  double x; /* SI */
  int line;
} lw_named;

/* Hydrocarbons are a number that means nothing without the gas it is counted in. */
typedef enum lw_hc_basis { LW_HC_UNSAID, LW_HC_HEXANE, LW_HC_PROPANE, LW_HC_C1 } lw_hc_basis;
typedef struct lw_hc {
  double x; /* mole fraction of that gas */
  lw_hc_basis basis;
} lw_hc;

typedef enum lw_kind {
  LW_KIND_TEXT,       /* const char * */
  LW_KIND_QUANTITY,   /* double, SI; NaN when not given */
  LW_KIND_RANGE,      /* lw_range, SI */
  LW_KIND_WHOLE,      /* int; 0 when not given */
  LW_KIND_CHOICE,     /* int: index into choices; entry 0 is "not said" and cannot be written */
  LW_KIND_ANSWER,     /* lw_answer */
  LW_KIND_HC,         /* lw_hc */
  LW_KIND_MAP,        /* a struct in place */
  LW_KIND_LIST,       /* lw_list of structs */
  LW_KIND_QUANTITIES, /* lw_values */
  LW_KIND_TEXTS,      /* lw_texts */
  LW_KIND_NAMED       /* lw_list of lw_named */
} lw_kind;

typedef struct lw_table lw_table;

typedef struct lw_field {
  const char *key;
  lw_kind kind;
  size_t at;                  /* offset in the struct */
  lw_dim dim;                 /* QUANTITY, RANGE, QUANTITIES, NAMED */
  double lo, hi;              /* least and greatest value believed, SI (or count); NaN: no bound */
  const char *const *choices; /* CHOICE: NULL at the end; entry 0 is "not said" */
  const lw_table *table;      /* MAP, LIST */
  bool required;
  const char *what; /* one line for the key reference */
} lw_field;

struct lw_table {
  const char *name; /* "screw": how an error calls one of them */
  const lw_field *fields;
  size_t count;
  size_t size;    /* of the struct */
  size_t line_at; /* offset of an int that gets the line, or SIZE_MAX */
  bool shorthand; /* a plain value instead of a map fills the first field */
};

/* Everything the binder needs to know while it works. */
typedef struct lw_bind {
  lw_arena *arena;
  lw_units *units;
  const char *file;
} lw_bind;

/* Set every member of a struct to "not given" (NaN, 0, NULL). */
void lw_table_clear(const lw_table *table, void *object);
/* Fill object from a map node by its table. On failure object may be partly filled: discard it. */
lw_status lw_table_read(const lw_bind *bind, const lw_table *table, const lw_node *node,
                        void *object, lw_error *error) LW_MUST_USE;
/* Print the key reference of a table, one line a key, to a sink that takes text. */
typedef void (*lw_sink)(void *to, const char *text);
void lw_table_reference(const lw_table *table, lw_sink sink, void *to);

/* Walk the filled members of object in table order: path is "carburetor, primary, main jet"; value
   is in both unit systems. Used to print a card and to compare two. */
typedef void (*lw_visit)(void *to, const char *path, const lw_field *field, const char *shop,
                         const char *metric);
void lw_table_walk(const lw_table *table, const void *object, lw_visit visit, void *to);

#endif
