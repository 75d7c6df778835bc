/* Mix: from channel levels to output codes, change by change; equals mixing.py.
 *
 * Between two changes of the mixer's fields every channel has one factor on each output. There the channel that changes
 * next plays on until another one changes; channels that no output takes are passed over.
 */
#include <string.h>

#include "mix.h"

/* From a sum to an output code, as it is during a span; kept apart so that a loop holds it in machine registers. */
struct shape {
    i64 trim, shift, offset, largest;
    int wraps;
    const i64 *codes; /* NULL: the sum itself is the code */
};

static struct shape shape_of(const struct mixer *m, const struct output *p)
{
    struct shape s = {p->trim, m->o[M_TRIM_SHIFT], m->o[M_OFFSET], (INT64_C(1) << m->o[M_BITS]) - 1,
                      m->o[M_OVERFLOW] == MIXER_OVERFLOW_WRAP, m->o[M_TABLE] ? m->codes : NULL};
    return s;
}

/* The output code of a sum (9). */
static inline i64 code_of(struct shape s, i64 sum)
{
    i64 code = (sum * s.trim >> s.shift) + s.offset;
    if (s.wraps)
        code &= s.largest;
    else
        code = code < 0 ? 0 : code > s.largest ? s.largest : code;
    return s.codes ? s.codes[code] : code;
}

/* Write a change of code, if it is one; there is room. */
static void write_code(struct output *p, i64 cycle, i64 code)
{
    if (p->size && p->level[p->size - 1] == (int32_t)code)
        return;
    p->cycle[p->size] = cycle;
    p->level[p->size++] = (int32_t)code;
}

/* Let a code stand from a cycle on, behind the output registers; `code` of the output is the one before it. */
static void put_code(struct mixer *m, struct output *p, i64 cycle, i64 code)
{
    i64 latency = m->o[M_LATENCY], safe = m->o[M_END] - latency;
    if (cycle < safe) {
        write_code(p, cycle + latency, code);
    } else {
        for (i64 i = 0; !p->late && m->o[M_START] <= safe && i < cycle - safe; i++)
            p->pipeline[i] = p->code;
        p->late = 1;
        for (i64 i = cycle - safe; i < latency; i++)
            p->pipeline[i] = code;
    }
    p->code = code;
}

/* Play the changes `from` to `to` of one channel on one output. */
static void play_run(struct mixer *m, struct output *p, int channel, i64 from, i64 to)
{
    const struct heard *h = &m->heard[channel];
    const struct shape shape = shape_of(m, p);
    const i64 factor = p->factor[channel], latency = m->o[M_LATENCY], safe = m->o[M_END] - latency;
    const i64 others = p->sum - factor * h->level[from - 1]; /* what the other channels add up to */
    p->sum = others + factor * h->level[to - 1];
    if (factor == 0) /* only what has changed with it can be heard */
        to = from + 1;
    i64 *cycles = p->cycle + p->size, code = p->code, size = 0, i = from;
    int32_t *levels = p->level + p->size;
    for (; i < to && h->cycle[i] < safe; i++) {
        i64 next = code_of(shape, others + factor * h->level[i]);
        cycles[size] = h->cycle[i] + latency;
        levels[size] = (int32_t)next;
        size += next != code;
        code = next;
    }
    p->size += size;
    p->code = code;
    for (; i < to; i++)
        put_code(m, p, h->cycle[i], code_of(shape, others + factor * h->level[i]));
}

static void hear_next(struct heard *h, i64 next)
{
    h->next = next;
    h->soon = next < h->size ? h->cycle[next] : NEVER;
}

/* First index whose cycle is past `cycle`, from a given one on; the search gallops. */
static i64 index_past(const struct heard *h, i64 from, i64 cycle)
{
    i64 step = 1, low = from;
    while (low + step < h->size && h->cycle[low + step - 1] <= cycle) {
        low += step;
        step *= 2;
    }
    i64 high = low + step < h->size ? low + step : h->size;
    while (low < high) { /* invariant: entries before `low` are not past it, those from `high` on are */
        i64 middle = low + (high - low) / 2;
        if (h->cycle[middle] <= cycle)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Begin a span in which no field of the mixer changes: factors, trims, where each channel stands, the code. */
static void begin_span(struct mixer *m, i64 cycle)
{
    i64 channels = m->o[M_CHANNELS];
    memset(m->listened, 0, sizeof m->listened);
    for (i64 k = 0; k < channels; k++)
        hear_next(&m->heard[k], index_past(&m->heard[k], m->heard[k].next, cycle));
    for (i64 i = 0; i < m->o[M_OUTPUTS]; i++) {
        struct output *p = &m->output[i];
        p->sum = 0;
        for (i64 k = 0; k < channels; k++) {
            p->factor[k] = m->gains[k] * m->routes[heard_now(&p->gate[k])];
            p->sum += p->factor[k] * heard_now(&m->heard[k]);
            m->listened[k] |= p->factor[k] != 0;
        }
        p->trim = m->trims[heard_now(&p->trim_field)];
        if (p->seen) {
            see_span(m, p);
            continue;
        }
        put_code(m, p, cycle, code_of(shape_of(m, p), p->sum));
    }
}

/* Move the mixer's fields to a cycle; return the cycle at which one of them changes next. */
static i64 move_fields(struct mixer *m, i64 cycle)
{
    i64 soonest = m->o[M_END];
    for (i64 i = 0; i < m->o[M_OUTPUTS]; i++)
        for (i64 k = 0; k <= m->o[M_CHANNELS]; k++) {
            struct heard *h = k < m->o[M_CHANNELS] ? &m->output[i].gate[k] : &m->output[i].trim_field;
            while (h->next < h->size && h->cycle[h->next] <= cycle)
                h->next++;
            if (h->next < h->size && h->cycle[h->next] < soonest)
                soonest = h->cycle[h->next];
        }
    return soonest;
}

/* Take in the next change of a channel without playing it. */
static void join_change(struct mixer *m, int channel)
{
    struct heard *h = &m->heard[channel];
    for (i64 i = 0; i < m->o[M_OUTPUTS]; i++) {
        struct output *p = &m->output[i];
        u64 bit = (u64)1 << channel;
        p->sum += p->factor[channel] * (h->level[h->next] - (i64)h->level[h->next - 1]);
        p->sounding = p->factor[channel] * h->level[h->next] ? p->sounding | bit : p->sounding & ~bit;
    }
    hear_next(h, h->next + 1);
}

/* Play the next change of a channel, and those after it up to, not including, a cycle. */
static void play_channel(struct mixer *m, int channel, i64 until)
{
    struct heard *h = &m->heard[channel];
    i64 to = h->next + 1;
    while (to < h->size && h->cycle[to] < until)
        to++;
    for (i64 i = 0; i < m->o[M_OUTPUTS]; i++)
        (m->output[i].seen ? see_run : play_run)(m, &m->output[i], channel, h->next, to);
    hear_next(h, to);
}

/* Mix a span up to, not including, cycle `until`. */
static void play_span(struct mixer *m, i64 until)
{
    int listened[MOST_CHANNELS], count = 0;
    for (int k = 0; k < m->o[M_CHANNELS]; k++)
        if (m->listened[k])
            listened[count++] = k;
    for (;;) {
        int first = -1;
        i64 soonest = until, second = until;
        for (int j = 0; j < count; j++) {
            i64 soon = m->heard[listened[j]].soon;
            if (soon < soonest) {
                second = soonest;
                soonest = soon;
                first = listened[j];
            } else if (soon < second) {
                second = soon;
            }
        }
        if (first < 0 || !still_asked(m))
            return;
        if (second > soonest) {
            play_channel(m, first, second);
            continue;
        }
        for (int j = 0; j < count; j++) /* several change at once: the last one plays what all of them add up to */
            if (listened[j] != first && m->heard[listened[j]].soon == soonest)
                join_change(m, listened[j]);
    }
}

static struct heard heard_from(const i64 *columns)
{
    struct heard h = {(const i64 *)(intptr_t)columns[SIGNAL_CYCLE], (const int32_t *)(intptr_t)columns[SIGNAL_LEVEL],
                      columns[SIGNAL_SIZE], 0, NEVER, 0, 0};
    return h;
}

/* Let the output registers go on from where they stood: what is in them comes out first. */
static void begin_output(const struct mixer *m, struct output *p)
{
    i64 start = m->o[M_START], span = m->o[M_END] - start, latency = m->o[M_LATENCY];
    for (i64 i = 0; i < latency && i < span; i++)
        write_code(p, start + i, p->pipeline[i]);
    for (i64 i = 0; i + span < latency; i++)
        p->pipeline[i] = p->pipeline[i + span];
}

/* Mix at least one cycle; the mixer is all zero before. */
void mixer_run(struct mixer *m, i64 *const *in)
{
    const i64 *signals = in[MIX_SIGNALS];
    i64 *outputs = in[MIX_OUTPUTS];
    m->o = in[MIX_OPTIONS];
    m->gains = in[MIX_GAINS];
    m->routes = in[MIX_ROUTES];
    m->trims = in[MIX_TRIMS];
    m->codes = in[MIX_CODES];
    for (i64 k = 0; k < m->o[M_CHANNELS]; k++, signals += SIGNAL_COLUMNS) {
        m->heard[k] = heard_from(signals);
        if (m->o[M_SEEN])
            see_ends(&m->heard[k]);
    }
    for (i64 i = 0; i < m->o[M_OUTPUTS]; i++) {
        struct output *p = &m->output[i];
        for (i64 k = 0; k < m->o[M_CHANNELS]; k++, signals += SIGNAL_COLUMNS)
            p->gate[k] = heard_from(signals);
        p->trim_field = heard_from(signals);
        signals += SIGNAL_COLUMNS;
        p->pipeline = in[MIX_PIPELINES] + i * m->o[M_LATENCY];
        p->cycle = (i64 *)(intptr_t)outputs[i * SIGNAL_COLUMNS + SIGNAL_CYCLE];
        p->level = (int32_t *)(intptr_t)outputs[i * SIGNAL_COLUMNS + SIGNAL_LEVEL];
        p->seen = m->o[M_SEEN] ? in[MIX_SEEN] + i * SEEN_COLUMNS : NULL;
        if (!p->seen)
            begin_output(m, p);
    }
    for (i64 cycle = m->o[M_START]; cycle < m->o[M_END];) {
        i64 until = move_fields(m, cycle);
        begin_span(m, cycle);
        play_span(m, until);
        cycle = until;
    }
    for (i64 i = 0; i < m->o[M_OUTPUTS] && !m->o[M_SEEN]; i++) {
        outputs[i * SIGNAL_COLUMNS + SIGNAL_SIZE] = m->output[i].size;
        for (i64 k = 0; !m->output[i].late && k < m->o[M_LATENCY]; k++)
            m->output[i].pipeline[k] = m->output[i].code;
    }
}
