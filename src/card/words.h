/* words.h - the words of every choice a card or a job can make. Private to this floor. */
#ifndef LW_CARD_WORDS_H
#define LW_CARD_WORDS_H

#include "leanward/card.h"

extern const char *const lw_words_transmission[];
extern const char *const lw_words_gear[];
extern const char *const lw_words_hose[];
extern const char *const lw_words_gas[];
extern const char *const lw_words_condition[];
extern const char *const lw_words_stage[];
extern const char *const lw_words_snap[];
extern const char *const lw_words_felt[];
extern const char *const lw_words_class[];

/* Tables both files use. */
extern const lw_table lw_fuel_table, lw_limit_table;

/* Each limit is a public set or a gas with its value. */
lw_status lw_limits_check(const lw_bind *bind, const lw_list *limits, lw_error *error);

#endif
