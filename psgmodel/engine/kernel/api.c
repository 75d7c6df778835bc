/* API: what Python calls. Every array is int64 unless said otherwise; layout.py says which is which. */
#include <stdlib.h>
#include <string.h>

#include "mix.h"

#define API __attribute__((visibility("default")))

enum { DONE, NO_MEMORY };

/* What a channel did: its levels, its activity after each change of it, and rows, if they were asked for. */
struct made {
    struct signal signal[2];
    struct watch watch;
};

API void kernel_free(struct made *made)
{
    if (!made)
        return;
    for (int i = 0; i < 2; i++)
        signal_free(&made->signal[i]);
    watch_free(&made->watch);
    free(made);
}

/* Number of entries of a list. */
API i64 kernel_size(const struct made *made, i64 which)
{
    return made->signal[which].size;
}

/* Copy a list out: cycles as int64, levels as int32. */
API void kernel_copy(const struct made *made, i64 which, i64 *cycle, int32_t *level)
{
    const struct signal *s = &made->signal[which];
    if (!s->size)
        return;
    memcpy(cycle, s->cycle, (size_t)s->size * sizeof *cycle);
    memcpy(level, s->level, (size_t)s->size * sizeof *level);
}

/* Number of rows. */
API i64 kernel_rows(const struct made *made)
{
    return made->watch.size;
}

/* A column of the rows, which lives as long as `made`; NULL where there is none. */
API const i64 *kernel_column(const struct made *made, i64 which)
{
    return made->watch.column[which];
}

static int hand_over(struct made **made, struct track *t)
{
    struct signal *first = &t->steps.out, *second = &t->activity;
    *made = calloc(1, sizeof **made);
    if (!*made || first->failed || second->failed || t->watch.failed) {
        free(*made);
        *made = NULL;
        signal_free(first);
        signal_free(second);
        watch_free(&t->watch);
        return NO_MEMORY;
    }
    (*made)->signal[0] = *first;
    (*made)->signal[1] = *second;
    (*made)->watch = t->watch;
    return DONE;
}

static int set_trains(struct channel *c, const i64 *const *in)
{
    int whole = 1;
    for (int i = 0; i < TRAINS; i++)
        whole &= train_set(&c->train[i], in[IN_TRAINS] + i * TRAIN_COLUMNS, in[IN_PLACES], in[IN_EPOCHS]);
    return whole;
}

/* Follow a channel; made are its levels and its activity. Inputs and their sizes are in the order of INPUTS. */
API int kernel_follow(const i64 *const *in, const i64 *sizes, struct made **made)
{
    struct channel c = {in[IN_OPTIONS], in[IN_PATTERNS], in[IN_VOLUME_TABLE], in[IN_DIVISORS], in[IN_RESET_FIELDS],
                        sizes[IN_VOLUME_TABLE], in[IN_ACTIONS], in[IN_PARTS], sizes[IN_ACTIONS] / ACTION_COLUMNS,
                        {{0}}};
    struct track *t = calloc(1, sizeof *t);
    int result = NO_MEMORY;
    *made = NULL;
    if (set_trains(&c, in) && t) {
        t->c = &c;
        track_run(t, in, sizes);
        result = hand_over(made, t);
    }
    for (int i = 0; i < TRAINS; i++)
        free(c.train[i].before);
    free(t);
    return result;
}

/* Mix channels. Inputs are in the order of MIXER_INPUTS; the outputs have room. */
API int kernel_mix(i64 *const *in)
{
    struct mixer *m = calloc(1, sizeof *m);
    if (!m)
        return NO_MEMORY;
    mixer_run(m, in);
    free(m);
    return DONE;
}
