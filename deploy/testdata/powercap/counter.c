// SPDX-License-Identifier: GPL-2.0 OR MIT
/* Energy counters of 15 W and 5 W in the kernel's class powercap, on a machine that
   has none. Names, modes and events of the files are the kernel's. */
#include <linux/err.h>
#include <linux/ktime.h>
#include <linux/module.h>
#include <linux/powercap.h>

static struct powercap_control_type *type;
static struct powercap_zone *package, *core;

static int energy(struct powercap_zone *zone, u64 *uj)
{
	*uj = (zone == core ? 5 : 15) * (u64)ktime_to_us(ktime_get());
	return 0;
}

static int range(struct powercap_zone *zone, u64 *uj)
{
	*uj = 262143328850ULL;
	return 0;
}

static int release(struct powercap_zone *zone)
{
	return 0;
}

static const struct powercap_zone_ops ops = {
	.get_energy_uj = energy,
	.get_max_energy_range_uj = range,
	.release = release,
};

/* The class wants these even of a zone without a limit. */
static int get(struct powercap_zone *zone, int id, u64 *value)
{
	return -ENODATA;
}

static int set(struct powercap_zone *zone, int id, u64 value)
{
	return -ENODATA;
}

static const struct powercap_zone_constraint_ops no_limit = {
	.get_power_limit_uw = get,
	.set_power_limit_uw = set,
	.get_time_window_us = get,
	.set_time_window_us = set,
};

static int __init add(void)
{
	type = powercap_register_control_type(NULL, "rig", NULL);
	if (IS_ERR(type))
		return PTR_ERR(type);
	package = powercap_register_zone(NULL, type, "package-0", NULL, &ops, 0, &no_limit);
	if (IS_ERR(package)) {
		powercap_unregister_control_type(type);
		return PTR_ERR(package);
	}
	core = powercap_register_zone(NULL, type, "core", package, &ops, 0, &no_limit);
	if (IS_ERR(core)) {
		powercap_unregister_zone(type, package);
		powercap_unregister_control_type(type);
		return PTR_ERR(core);
	}
	return 0;
}
module_init(add);

static void __exit take_away(void)
{
	powercap_unregister_zone(type, core);
	powercap_unregister_zone(type, package);
	powercap_unregister_control_type(type);
}
module_exit(take_away);
MODULE_DESCRIPTION("energy counters that are made up");
MODULE_LICENSE("Dual MIT/GPL");
