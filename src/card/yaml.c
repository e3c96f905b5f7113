/* yaml.c - YAML text to a tree of nodes that know their lines.
**
** libyaml delivers events; a small stack of open maps and lists turns them into the tree. Anchors,
** aliases and tags are refused, and so is a second document: see doc.h for the limits and why.
*/
#include "leanward/doc.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>
#include <yaml.h>

typedef struct open_node {
  lw_node *node, *last; /* the map or list, and its newest child */
  const char *key;      /* a map's key that waits for its value */
  int key_line;
} open_node;

typedef struct builder {
  lw_arena *arena;
  const char *file, *text;
  size_t length;
  lw_error *error;
  open_node stack[LW_DOC_MAX_DEPTH];
  size_t depth, nodes;
  lw_node *root;
  int documents;
  const char *line_at; /* start of line `line` of the text, and its end: see lost_words */
  const char *end;
  int line;
} builder;

static lw_status refuse(builder *b, int line, const char *text) {
  lw_error_place(b->error, b->file, line, NULL);
  return lw_fail(b->error, LW_BAD_INPUT, "%s", text);
}

static lw_status no_memory(builder *b) {
  lw_error_place(b->error, b->file, 0, NULL);
  return lw_fail(b->error, LW_NO_MEMORY, "no memory for this document");
}

static lw_node *node_new(builder *b, lw_node_kind kind, const yaml_mark_t *mark) {
  lw_node *node = lw_arena_alloc(b->arena, sizeof *node);
  if (!node) return NULL;
  node->kind = kind;
  node->line = (int)mark->line + 1;
  node->column = (int)mark->column + 1;
  return node;
}

/* Every key is compared with those before it in its map. No card or job has a map of a thousand
   keys; the bound keeps a hostile file of fifty thousand from a thousand million comparisons. */
enum { MOST_KEYS = 1000 };

static lw_status check_key(builder *b, const open_node *top, const char *key, int line) {
  if (top->node->count >= MOST_KEYS) {
    return refuse(b, line, "more than 1000 keys in one place; a card or a job has a few dozen");
  }
  for (const lw_node *child = top->node->first; child; child = child->next) {
    if (strcmp(child->key, key) != 0) continue;
    lw_error_place(b->error, b->file, line, key);
    return lw_fail(b->error, LW_BAD_INPUT,
                   "this key is already given at line %d; a key may stand once", child->key_line);
  }
  return LW_OK;
}

/* Hang node under the open map or list, or make it the root. */
static lw_status attach(builder *b, lw_node *node) {
  if (++b->nodes > LW_DOC_MAX_NODES) {
    return refuse(b, node->line, "the document has too many entries to be a card or a job");
  }
  if (b->depth == 0) {
    b->root = node;
    return LW_OK;
  }
  open_node *top = &b->stack[b->depth - 1];
  if (top->node->kind == LW_NODE_MAP) {
    node->key = top->key;
    node->key_line = top->key_line;
    top->key = NULL;
  }
  if (top->last) {
    top->last->next = node;
  } else {
    top->node->first = node;
  }
  top->last = node;
  top->node->count++;
  return LW_OK;
}

static const char *line_start(builder *b, int line) {
  while (b->line < line && b->line_at < b->end) {
    const char *next = memchr(b->line_at, '\n', (size_t)(b->end - b->line_at));
    b->line_at = next ? next + 1 : b->end;
    b->line++;
  }
  return b->line_at;
}

/* "needs work #3 plug wet": to YAML ' #' begins a comment and the words behind it are gone. A comment
   with a blank behind its '#' is meant; one without is a person's number. */
static bool lost_words(builder *b, const yaml_mark_t *end) {
  const char *p = line_start(b, (int)end->line);
  for (size_t i = 0; i < end->column && p < b->end; i++) {
    p++;
    while (p < b->end && ((unsigned char)*p & 0xC0) == 0x80)
      p++;
  }
  while (p < b->end && (*p == ' ' || *p == '\t'))
    p++;
  if (p + 1 >= b->end || *p != '#') return false;
  return !strchr(" \t\r\n#-=!", p[1]);
}

/* A scalar is a map's key when the map waits for one, else a value. */
static lw_status on_scalar(builder *b, const yaml_event_t *event) {
  int line = (int)event->start_mark.line + 1;
  const char *text = (const char *)event->data.scalar.value;
  size_t length = event->data.scalar.length;
  if (event->data.scalar.anchor || event->data.scalar.tag) {
    return refuse(b, line, "anchors and tags ('&', '!') are not used here; write the value itself");
  }
  if (memchr(text, 0, length)) return refuse(b, line, "the text holds a zero byte");
  if (lost_words(b, &event->end_mark)) {
    return refuse(b, line,
                  "the words from ' #' on would be lost as a comment; put the text in "
                  "quotes, or write '# ' with a blank for a comment");
  }
  char *copy = lw_arena_copy(b->arena, text, length);
  if (!copy) return no_memory(b);
  open_node *top = b->depth ? &b->stack[b->depth - 1] : NULL;
  assert(!top || top->node); /* on_open puts a node on every level */
  if (top && top->node->kind == LW_NODE_MAP && !top->key) {
    lw_status status = check_key(b, top, copy, line);
    top->key = copy;
    top->key_line = line;
    return status;
  }
  lw_node *node = node_new(b, LW_NODE_SCALAR, &event->start_mark);
  if (!node) return no_memory(b);
  node->text = copy;
  node->quoted = event->data.scalar.style == YAML_SINGLE_QUOTED_SCALAR_STYLE ||
                 event->data.scalar.style == YAML_DOUBLE_QUOTED_SCALAR_STYLE;
  return attach(b, node);
}

static lw_status on_open(builder *b, const yaml_event_t *event, lw_node_kind kind, bool marked) {
  int line = (int)event->start_mark.line + 1;
  if (marked) {
    return refuse(b, line, "anchors and tags ('&', '!') are not used here; write the values");
  }
  if (b->depth >= LW_DOC_MAX_DEPTH) return refuse(b, line, "the document is nested too deep");
  const open_node *top = b->depth ? &b->stack[b->depth - 1] : NULL;
  if (top && top->node->kind == LW_NODE_MAP && !top->key) {
    return refuse(b, line, "a key must be plain words, not a list or a map");
  }
  lw_node *node = node_new(b, kind, &event->start_mark);
  if (!node) return no_memory(b);
  lw_status status = attach(b, node);
  if (status == LW_OK) b->stack[b->depth++] = (open_node){.node = node};
  return status;
}

static lw_status on_event(builder *b, const yaml_event_t *event) {
  int line = (int)event->start_mark.line + 1;
  switch (event->type) {
  case YAML_DOCUMENT_START_EVENT:
    if (++b->documents > 1)
      return refuse(b, line, "a second document ('---') starts here; one file, one");
    return LW_OK;
  case YAML_ALIAS_EVENT:
    return refuse(b, line, "aliases ('*') are not used here; write the value itself");
  case YAML_SCALAR_EVENT: return on_scalar(b, event);
  case YAML_MAPPING_START_EVENT:
    return on_open(b, event, LW_NODE_MAP,
                   event->data.mapping_start.anchor || event->data.mapping_start.tag);
  case YAML_SEQUENCE_START_EVENT:
    return on_open(b, event, LW_NODE_LIST,
                   event->data.sequence_start.anchor || event->data.sequence_start.tag);
  case YAML_MAPPING_END_EVENT:
  case YAML_SEQUENCE_END_EVENT: b->depth--; return LW_OK;
  default: return LW_OK;
  }
}

/* Bytes that are no text are named by their offset; a person looks for a line. */
static int line_of(const char *text, size_t length, size_t offset) {
  int line = 1;
  assert(text || !length);
  for (size_t i = 0; i < offset && i < length; i++) {
    bool crlf = text[i] == '\r' && i + 1 < length && text[i + 1] == '\n';
    if (text[i] == '\n' || (text[i] == '\r' && !crlf)) line++;
  }
  return line;
}

static lw_status parser_error(builder *b, const yaml_parser_t *parser) {
  int line = (int)parser->problem_mark.line + 1;
  if (parser->error == YAML_MEMORY_ERROR) return no_memory(b);
  if (parser->error == YAML_READER_ERROR) {
    line = line_of(b->text, b->length, parser->problem_offset);
    lw_error_place(b->error, b->file, line, NULL);
    return lw_fail(b->error, LW_BAD_INPUT,
                   "this is not text (%s near byte %zu); a YAML file was expected", parser->problem,
                   parser->problem_offset);
  }
  lw_error_place(b->error, b->file, line, NULL);
  return lw_fail(b->error, LW_BAD_INPUT,
                 "this does not read as YAML (%s); check the indent, the colon and the quotes",
                 parser->problem ? parser->problem : "syntax");
}

static lw_status parse_events(builder *b, yaml_parser_t *parser) {
  for (bool more = true; more;) {
    yaml_event_t event;
    if (!yaml_parser_parse(parser, &event)) return parser_error(b, parser);
    lw_status status = on_event(b, &event);
    more = event.type != YAML_STREAM_END_EVENT;
    yaml_event_delete(&event);
    if (status != LW_OK) return status;
  }
  if (b->root) return LW_OK;
  lw_error_place(b->error, b->file, 0, NULL);
  return lw_fail(b->error, LW_BAD_INPUT, "the file is empty; keys with values were expected");
}

lw_status lw_doc_parse(lw_arena *arena, const char *file, const char *text, size_t length,
                       const lw_node **root, lw_error *error) {
  builder b = {.arena = arena,
               .file = file,
               .text = text,
               .length = length,
               .error = error,
               .line_at = text,
               .end = text ? text + length : NULL};
  if (length > LW_DOC_MAX_BYTES) {
    lw_error_place(error, file, 0, NULL);
    return lw_fail(error, LW_TOO_LARGE,
                   "the file has more than 4 MiB; a card or a job has a few KiB");
  }
  yaml_parser_t parser;
  if (!yaml_parser_initialize(&parser)) return no_memory(&b);
  /* libyaml asserts that there is a text even when it has no bytes */
  yaml_parser_set_input_string(&parser, (const unsigned char *)(text ? text : ""), length);
  lw_status status = parse_events(&b, &parser);
  yaml_parser_delete(&parser);
  if (status == LW_OK) *root = b.root;
  return status;
}

const lw_node *lw_doc_child(const lw_node *map, const char *key) {
  for (const lw_node *child = map->first; child; child = child->next) {
    if (child->key && strcmp(child->key, key) == 0) return child;
  }
  return NULL;
}
