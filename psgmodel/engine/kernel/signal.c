/* Signal: a list of changes that grows. */
#include <stdlib.h>

#include "kernel.h"

/* Make room for `more` further entries; return 0, and keep nothing from then on, where memory runs out. */
int signal_reserve(struct signal *s, i64 more)
{
    if (s->failed)
        return 0;
    if (s->size + more <= s->room)
        return 1;
    i64 room = s->room + s->room / 2 + more + 256;
    i64 *cycle = realloc(s->cycle, (size_t)room * sizeof *cycle);
    if (cycle)
        s->cycle = cycle;
    int32_t *level = realloc(s->level, (size_t)room * sizeof *level);
    if (level)
        s->level = level;
    if (!cycle || !level) {
        s->failed = 1;
        return 0;
    }
    s->room = room;
    return 1;
}

void signal_free(struct signal *s)
{
    free(s->cycle);
    free(s->level);
    s->cycle = NULL;
    s->level = NULL;
    s->size = s->room = 0;
}
