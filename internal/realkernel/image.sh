#!/bin/sh
# Makes the folder image here, with what the guest needs of Debian's packages: the
# kernel, and the folder root with busybox and modules.
set -eu
# init.sh loads the first three; what they depend on comes along.
shipped="ac battery acpi_power_meter i2c-dev i2c-stub lm75 virtio_pci virtio_blk crc32c_generic ext4"

download() {
	kernel=$(apt-cache depends linux-image-amd64 | sed -n 's/.*Depends: linux-image-/linux-image-/p')
	apt-get -q -o APT::Sandbox::User=root download "$kernel" busybox-static
}
# Where the lists of packages are missing or old they are renewed, which needs root.
download || { apt-get -q -o DPkg::Lock::Timeout=120 update && download; }
for deb in *.deb; do dpkg-deb -x "$deb" debian; done

# Debian 12 has bin and lib, later ones have usr/bin and usr/lib.
version=${kernel#linux-image-}
modules=$(find debian -path "*lib/modules/$version")
mkdir -p image/root/bin "image/root/lib/modules/$version"
cp "$(find debian -path '*bin/busybox')" image/root/bin
image=$PWD/image
busybox=$image/root/bin/busybox

cd "$modules"
"$busybox" depmod -b "${PWD%/lib/modules/*}" "$version"
for name in $shipped; do
	needed=$(grep "^[^:]*/$name\.ko" modules.dep | tr -d :)
	cp --parents $needed "$image/root/lib/modules/$version"
done
find "$image" -name '*.ko.xz' -exec xz -d {} +
"$busybox" depmod -b "$image/root" "$version"
rm "$image/root/lib/modules/$version/modules.alias" # nothing is to be loaded by itself

# The kernel is unpacked, which saves the guest from doing so (3 s), where it is packed
# with xz. The offsets are those of the header in Linux, Documentation/arch/x86/boot.rst.
cd "${image%/image}/debian/boot"
set -- $(od -An -tu1 -j497 -N1 vmlinuz-*) $(od -An -tu4 -j584 -N8 vmlinuz-*)
tail -c +$((($1 + 1) * 512 + $2 + 1)) vmlinuz-* | head -c $3 | xz -dc --single-stream >"$image/kernel" ||
	cp vmlinuz-* "$image/kernel"
