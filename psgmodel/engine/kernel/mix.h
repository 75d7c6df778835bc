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
};

struct output {
    i64 *cycle, size;
    int32_t *level;
    struct heard gate[MOST_CHANNELS], trim_field;
    i64 factor[MOST_CHANNELS], trim, sum, code;
    i64 *pipeline; /* output registers; at the end, those after the last edge */
    int late;      /* the codes that come now stay in the output registers */
};

struct mixer {
    const i64 *o, *gains, *routes, *trims, *codes;
    struct heard heard[MOST_CHANNELS];
    int listened[MOST_CHANNELS]; /* some output takes the channel */
    struct output output[MOST_OUTPUTS];
};

void mixer_run(struct mixer *m, i64 *const *in);

#endif
