// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.plant.NodeName;
import dev.cistern.ship.HeadShipper;
import dev.cistern.work.MappingReload;

/** What works beside refining and delivery, and whose troubles health and numbers show. */
record Beside(HeadShipper heads, SftpRoutes sftp, MappingReload reload, NodeName name) {}
