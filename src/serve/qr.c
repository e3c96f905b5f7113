/* qr.c - a text as a QR code: for a terminal and as SVG. Two (terminal) or four modules of quiet
** zone (ISO/IEC 18004 asks for four; two read well from a screen, common practice, no source).
*/
#include "serve.h"

#include <qrencode.h>
#include <stdlib.h>
#include <string.h>

typedef struct drawing {
  char *text;
  size_t used, size;
} drawing;

static void add(drawing *d, const char *text) {
  size_t length = strlen(text);
  if (d->used + length >= d->size) return;
  memcpy(d->text + d->used, text, length + 1);
  d->used += length;
}

static bool dark(const QRcode *code, int x, int y) {
  bool inside = x >= 0 && y >= 0 && x < code->width && y < code->width;
  return inside && (code->data[y * code->width + x] & 1);
}

static QRcode *encode(const char *text) {
  return QRcode_encodeString8bit(text, 0, QR_ECLEVEL_M);
}

char *lw_serve_qr_text(const char *text, bool color) {
  static const char *const blocks[] = {"\xE2\x96\x88", "\xE2\x96\x80", "\xE2\x96\x84", " "};
  QRcode *code = encode(text);
  if (!code) return NULL;
  int edge = 2, width = code->width + 2 * edge;
  drawing d = {.size = (size_t)width * (size_t)width * 3 + (size_t)width * 32 + 64};
  d.text = calloc(1, d.size);
  for (int y = -edge; d.text && y < code->width + edge; y += 2) {
    add(&d, color ? "  \x1b[37;40m" : "  ");
    for (int x = -edge; x < code->width + edge; x++)
      add(&d, blocks[(dark(code, x, y) ? 2 : 0) + (dark(code, x, y + 1) ? 1 : 0)]);
    add(&d, color ? "\x1b[0m\n" : "\n");
  }
  QRcode_free(code);
  return d.text;
}

char *qr_svg(const char *text) {
  QRcode *code = encode(text);
  if (!code) return NULL;
  int width = code->width + 8;
  drawing d = {.size = (size_t)code->width * (size_t)code->width * 24 + 512};
  d.text = calloc(1, d.size);
  char piece[200];
  snprintf(piece, sizeof piece,
           "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" role=\"img\" "
           "aria-label=\"QR code\"><rect width=\"%d\" height=\"%d\" fill=\"#fff\"/><path "
           "fill=\"#000\" d=\"",
           width, width, width, width);
  if (d.text) add(&d, piece);
  for (int i = 0; d.text && i < code->width * code->width; i++) {
    int x = i % code->width, y = i / code->width;
    if (!dark(code, x, y)) continue;
    snprintf(piece, sizeof piece, "M%d %dh1v1h-1z", x + 4, y + 4);
    add(&d, piece);
  }
  if (d.text) add(&d, "\"/></svg>");
  QRcode_free(code);
  return d.text;
}
