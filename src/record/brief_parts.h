/* brief_parts.h - what page and sheet of a brief share. Private to this floor. */
#ifndef LW_RECORD_BRIEF_PARTS_H
#define LW_RECORD_BRIEF_PARTS_H

#include "leanward/brief_page.h"
#include "plot_pen.h"

/* The pictures of a pair, each handed to use as far as it can be drawn: what the screws reach, the
   mixture along a road, the two maps. */
lw_status lw_brief_pictures(const lw_brief *brief, lw_picture_use use, void *to,
                            lw_error *error) LW_MUST_USE;

/* CO and speed against the turns of the screws, both units; nothing is drawn without a curve. */
lw_status lw_plot_reach_use(const lw_brief *brief, lw_picture_use use, void *to,
                            lw_error *error) LW_MUST_USE;

/* The row of a unit in the table of what the screws reach: COLUMNS texts. */
enum { LW_REACH_COLUMNS = 9 };
extern const char *const lw_reach_heads[LW_REACH_COLUMNS];
typedef char lw_reach_row[LW_REACH_COLUMNS][120];
void lw_brief_reach_row(const lw_card *card, const lw_brief_reach *reach, lw_reach_row row);

#endif
