/* See: what the sums of an output come to, instead of its codes; equals sums.py of psgmodel/coverage. */
#include <string.h>

#include "mix.h"

/* See which channels are not 0 at some time, where the trim lets them through. */
static void see_sounding(struct output *p, u64 sounding)
{
    if (sounding == p->known || p->trim == 0)
        return;
    i64 count = __builtin_popcountll(sounding);
    p->known = sounding;
    if (count == 1)
        p->seen[SEEN_ALONE] |= (i64)sounding;
    if (count > p->seen[SEEN_TOGETHER])
        p->seen[SEEN_TOGETHER] = count;
}

/* See the product of a sum and the trim. */
static inline void see_product(i64 *seen, i64 product, i64 below)
{
    seen[SEEN_LARGEST] = product > seen[SEEN_LARGEST] ? product : seen[SEEN_LARGEST];
    seen[SEEN_LEAST] = product < seen[SEEN_LEAST] ? product : seen[SEEN_LEAST];
    seen[SEEN_FRACTION] |= product & below;
}

/* See the changes `from` to `to` of one channel on one output. */
void see_run(struct mixer *m, struct output *p, int channel, i64 from, i64 to)
{
    const int32_t *level = m->heard[channel].level;
    const i64 factor = p->factor[channel], trim = p->trim, below = (INT64_C(1) << m->o[M_TRIM_SHIFT]) - 1;
    const i64 others = p->sum - factor * level[from - 1];
    const u64 bit = (u64)1 << channel;
    i64 seen[SEEN_COLUMNS];
    int silent = 0, sounds = 0;
    memcpy(seen, p->seen, sizeof seen);
    for (i64 i = from; i < to; i++) {
        i64 part = factor * level[i];
        see_product(seen, (others + part) * trim, below);
        silent |= part == 0;
        sounds |= part != 0;
    }
    memcpy(p->seen, seen, sizeof seen);
    if (silent)
        see_sounding(p, p->sounding & ~bit);
    if (sounds)
        see_sounding(p, p->sounding | bit);
    p->sum = others + factor * level[to - 1];
    p->sounding = factor * level[to - 1] ? p->sounding | bit : p->sounding & ~bit;
}

/* See what stands where a span begins. */
void see_span(const struct mixer *m, struct output *p)
{
    p->sounding = 0;
    for (i64 k = 0; k < m->o[M_CHANNELS]; k++)
        p->sounding |= (u64)(p->factor[k] * heard_now(&m->heard[k]) != 0) << k;
    see_sounding(p, p->sounding);
    see_product(p->seen, p->sum * p->trim, (INT64_C(1) << m->o[M_TRIM_SHIFT]) - 1);
}
