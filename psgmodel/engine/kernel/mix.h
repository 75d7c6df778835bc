/* Mix: what mix.c works on. */
#ifndef MIX_H
#define MIX_H

#include "kernel.h"

enum { MOST_CHANNELS = 64, MOST_OUTPUTS = 2 };

/* A signal that is read; entry `next` - 1 stands now, `soon` is the cycle of the next one. */
struct heard {
    const i64 *cycle;
    const int32_t *level;
    i64 size, next, soon;
    i64 high, low; /* ends between which it moves; only where sums are looked at */
};

/* The level that stands now. */
static inline i64 heard_now(const struct heard *h)
{
    return h->level[h->next - 1];
}

struct output {
    i64 *cycle, size;
    int32_t *level;
    struct heard gate[MOST_CHANNELS], trim_field;
    i64 factor[MOST_CHANNELS], trim, sum, code;
    i64 *pipeline; /* output registers; at the end, those after the last edge */
    int late;      /* the codes that come now stay in the output registers */
    i64 *seen;     /* NULL, or what is seen of its sums, which is then written instead of codes */
    u64 sounding, known; /* channels that are not 0 in it; a set of them that was seen */
    int asks; /* what comes in the span can show something new */
};

struct mixer {
    const i64 *o, *gains, *routes, *trims, *codes;
    struct heard heard[MOST_CHANNELS];
    int listened[MOST_CHANNELS]; /* some output takes the channel */
    struct output output[MOST_OUTPUTS];
};

void mixer_run(struct mixer *m, i64 *const *in);
void see_run(struct mixer *m, struct output *p, int channel, i64 from, i64 to);
void see_span(struct mixer *m, struct output *p);
void see_ends(struct heard *h);
int still_asked(const struct mixer *m);

#endif
