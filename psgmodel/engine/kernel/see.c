/* See: what the sums of an output come to, instead of its codes; equals sums.py of psgmodel/coverage.
 *
 * What is asked is whether something happens at all. So an output is looked at only as long as what its channels can do
 * leaves a question open.
 */
#include "mix.h"

/* The code of a sum before it is fitted to its width. */
static i64 code_before(const struct mixer *m, const struct output *p, i64 sum)
{
    return (sum * p->trim >> m->o[M_TRIM_SHIFT]) + m->o[M_OFFSET];
}

static i64 largest_code(const struct mixer *m)
{
    return (INT64_C(1) << m->o[M_BITS]) - 1;
}

/* Say whether the span that has begun, as far as it lies ahead, can answer a question that is open. */
static void ask_again(const struct mixer *m, struct output *p)
{
    i64 high = 0, low = 0, below = (INT64_C(1) << m->o[M_TRIM_SHIFT]) - 1;
    u64 can = 0;
    for (i64 k = 0; k < m->o[M_CHANNELS]; k++) {
        const struct heard *h = &m->heard[k];
        high += p->factor[k] * h->high;
        low += p->factor[k] * h->low;
        can |= (u64)(p->trim != 0 && p->factor[k] != 0 && (h->high != 0 || h->low != 0)) << k;
    }
    p->asks = (can & ~(u64)p->seen[SEEN_ALONE]) || __builtin_popcountll(can) > p->seen[SEEN_TOGETHER] ||
              (!p->seen[SEEN_FRACTION] && (p->trim & below)) ||
              (!p->seen[SEEN_OVER] && code_before(m, p, high) > largest_code(m)) ||
              (!p->seen[SEEN_UNDER] && code_before(m, p, low) < 0);
}

/* See which channels are not 0 at some time, where the trim lets them through; return whether that is new. */
static inline int see_sounding(struct output *p, u64 sounding)
{
    if (sounding == p->known || p->trim == 0)
        return 0;
    i64 count = __builtin_popcountll(sounding), *seen = p->seen;
    int alone = count == 1 && !((u64)seen[SEEN_ALONE] & sounding), more = count > seen[SEEN_TOGETHER];
    p->known = sounding;
    if (alone)
        seen[SEEN_ALONE] |= (i64)sounding;
    if (more)
        seen[SEEN_TOGETHER] = count;
    return alone || more;
}

/* See sums between two, which have some bits in common; return whether anything is new. */
static inline int see_sums(const struct mixer *m, struct output *p, i64 low, i64 high, i64 product_bits)
{
    i64 *seen = p->seen;
    int over = !seen[SEEN_OVER] && code_before(m, p, high) > largest_code(m);
    int under = !seen[SEEN_UNDER] && code_before(m, p, low) < 0;
    int fraction = !seen[SEEN_FRACTION] && (product_bits & ((INT64_C(1) << m->o[M_TRIM_SHIFT]) - 1));
    seen[SEEN_OVER] |= over;
    seen[SEEN_UNDER] |= under;
    seen[SEEN_FRACTION] |= fraction;
    return over || under || fraction;
}

/* See the changes `from` to `to` of one channel on one output. */
void see_run(struct mixer *m, struct output *p, int channel, i64 from, i64 to)
{
    const int32_t *level = m->heard[channel].level;
    const i64 factor = p->factor[channel], trim = p->trim, others = p->sum - factor * level[from - 1];
    const u64 bit = (u64)1 << channel, without = p->sounding & ~bit;
    i64 high = INT64_MIN, low = INT64_MAX, bits = 0, part = 0;
    int silent = 0, sounds = 0;
    if (!p->asks)
        return;
    for (i64 i = from; i < to; i++) {
        part = factor * level[i];
        high = part > high ? part : high;
        low = part < low ? part : low;
        bits |= (others + part) * trim;
        silent |= part == 0;
        sounds |= part != 0;
    }
    p->sum = others + part;
    p->sounding = part ? without | bit : without;
    int news = see_sums(m, p, others + low, others + high, bits);
    if (silent)
        news |= see_sounding(p, without);
    if (sounds)
        news |= see_sounding(p, without | bit);
    if (news)
        ask_again(m, p);
}

/* See what stands where a span begins. */
void see_span(struct mixer *m, struct output *p)
{
    p->sounding = 0;
    for (i64 k = 0; k < m->o[M_CHANNELS]; k++)
        p->sounding |= (u64)(p->factor[k] * heard_now(&m->heard[k]) != 0) << k;
    see_sounding(p, p->sounding);
    see_sums(m, p, p->sum, p->sum, p->sum * p->trim);
    ask_again(m, p);
}

/* Take in between which levels a channel moves. */
void see_ends(struct heard *h)
{
    int32_t high = h->level[0], low = high;
    for (i64 i = 1; i < h->size; i++) {
        high = h->level[i] > high ? h->level[i] : high;
        low = h->level[i] < low ? h->level[i] : low;
    }
    h->high = high;
    h->low = low;
}

/* Whether an output still asks; one that is mixed always does. */
int still_asked(const struct mixer *m)
{
    int asked = !m->o[M_SEEN];
    for (i64 i = 0; i < m->o[M_OUTPUTS]; i++)
        asked |= m->output[i].asks;
    return asked;
}
