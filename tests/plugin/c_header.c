/* SPDX-License-Identifier: Apache-2.0 */
/* The public header is C11: compiling this file is the test. */
#include "pin16/plugin.h"

const struct pin16_card pin16_test_card = PIN16_CARD_HERE;
_Static_assert(sizeof(struct pin16_event) == 32, "the head of an event is 32 bytes");
_Static_assert(PIN16_KIND_BIT(PIN16_EXCHANGE) != PIN16_KIND_BIT(PIN16_READING), "a bit for each kind");
_Static_assert(PIN16_KIND_BIT(PIN16_LINE_EXCHANGE) == UINT64_C(1) << 51, "kinds of minor 1 have bits too");
