/* See: what the sums of an output come to, instead of its codes; equals sums.py of psgmodel/coverage. */
#include "mix.h"

/* See which channels are not 0 at some time, where the trim lets them through. */
static inline void see_sounding(struct output *p, u64 sounding)
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

/* See the changes `from` to `to` of one channel on one output. */
void see_run(struct mixer *m, struct output *p, int channel, i64 from, i64 to)
{
    const int32_t *level = m->heard[channel].level;
    const i64 factor = p->factor[channel], trim = p->trim, others = p->sum - factor * level[from - 1];
    const u64 bit = (u64)1 << channel, without = p->sounding & ~bit;
    i64 largest = p->seen[SEEN_LARGEST], least = p->seen[SEEN_LEAST], bits = 0, part = 0;
    int silent = 0, sounds = 0;
    for (i64 i = from; i < to; i++) {
        part = factor * level[i];
        i64 product = (others + part) * trim;
        largest = product > largest ? product : largest;
        least = product < least ? product : least;
        bits |= product;
        silent |= part == 0;
        sounds |= part != 0;
    }
    p->seen[SEEN_LARGEST] = largest;
    p->seen[SEEN_LEAST] = least;
    p->seen[SEEN_FRACTION] |= bits & ((INT64_C(1) << m->o[M_TRIM_SHIFT]) - 1);
    p->sum = others + part;
    p->sounding = part ? without | bit : without;
    if (silent)
        see_sounding(p, without);
    if (sounds)
        see_sounding(p, without | bit);
}

/* See what stands where a span begins. */
void see_span(const struct mixer *m, struct output *p)
{
    i64 product = p->sum * p->trim, *seen = p->seen;
    p->sounding = 0;
    for (i64 k = 0; k < m->o[M_CHANNELS]; k++)
        p->sounding |= (u64)(p->factor[k] * heard_now(&m->heard[k]) != 0) << k;
    see_sounding(p, p->sounding);
    seen[SEEN_LARGEST] = product > seen[SEEN_LARGEST] ? product : seen[SEEN_LARGEST];
    seen[SEEN_LEAST] = product < seen[SEEN_LEAST] ? product : seen[SEEN_LEAST];
    seen[SEEN_FRACTION] |= product & ((INT64_C(1) << m->o[M_TRIM_SHIFT]) - 1);
}
